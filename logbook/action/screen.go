package action

// What a screen did.
const (
	Joined = "joined"
	Left   = "left"
)

// Roles of the people at a screen.
const (
	RoleSee  = "see"
	RoleWork = "work"
	RoleLead = "lead"
)

// Roles lists them, the least first.
var Roles = []string{RoleSee, RoleWork, RoleLead}

// Screen says that a screen joined the bench or left it: whose it is stands in the frame of
// the record. The screen of the program that has the book writes none, so that a bench
// alone has no such records.
type Screen struct {
	What string `json:"what" jsonschema:"enum=joined,enum=left"`
	Role string `json:"role" jsonschema:"enum=see,enum=work,enum=lead" jsonschema_description:"what the person may do there"`
	From string `json:"from,omitempty" jsonschema_description:"where the screen stands, as far as that is known"`
	Key  string `json:"key,omitempty" jsonschema_description:"fingerprint of the key they came with"`
	Away bool   `json:"away,omitempty" jsonschema_description:"the screen is not at the bench: alarms cannot be acknowledged there"`
}

// Kind of a screen that joined or left.
func (Screen) Kind() Kind { return "screen" }

// Subjects of a screen: it is no thing on the bench.
func (Screen) Subjects() []Subject { return nil }

// Valid takes what [Screen] names.
func (b Screen) Valid() error {
	return first(oneOf("what", b.What, []string{Joined, Left}), oneOf("role", b.Role, Roles), text("from", b.From, 80), text("key", b.Key, 120))
}

func (b Screen) tell(t Teller) string {
	s := "screen joined the bench"
	if b.What == Left {
		s = "screen left the bench"
	}
	if t.Full {
		if b.Role != RoleLead {
			s += ", may " + b.Role
		}
		if b.From != "" {
			s += ", from " + b.From
		}
		if b.Away {
			s += ", away from the bench"
		}
		if b.Key != "" {
			s += ", key " + b.Key
		}
	}
	return s
}
