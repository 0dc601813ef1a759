package doctor

import (
	"fmt"
	"strings"
	"time"
)

// MirrorFacts is the copy of every record elsewhere, by a look at its end.
type MirrorFacts struct {
	To        string        `json:"to,omitempty"` // the house setting, "" for none
	Kind      string        `json:"kind,omitempty"`
	Err       string        `json:"err,omitempty"` // why it cannot be looked at
	Ends      uint64        `json:"ends"`          // its last record
	Behind    uint64        `json:"behind"`        // how many newer ones the logbook has
	Other     bool          `json:"other,omitempty"`
	Ahead     bool          `json:"ahead,omitempty"` // it holds records that the logbook lacks
	Same      bool          `json:"same_volume,omitempty"`
	ReadOnly  bool          `json:"read_only,omitempty"`
	Others    bool          `json:"others_write,omitempty"` // others than this account may write there
	MayDelete bool          `json:"may_delete,omitempty"`
	Replicas  int           `json:"replicas,omitempty"`
	Left      time.Duration `json:"left_ns,omitempty"`   // how long what opens it is still good for; 0 where not known
	Risks     []Risk        `json:"risks,omitempty"`     // by what can something there be lost
	Unknown   []Risk        `json:"unknown,omitempty"`   // of what that cannot be seen from here
	LackSince time.Time     `json:"lack_since,omitzero"` // when the first record it lacks was written
}

// Risk is a way in which something there can be lost, and what mends it or where to look.
type Risk struct {
	What string `json:"what"`
	Do   string `json:"do,omitempty"`
}

// mirrorAge is how long a mirror may lack a record before it is pointed out.
const mirrorAge = 24 * time.Hour

// soonShut is how long before its end a credential is pointed out.
const soonShut = 30 * 24 * time.Hour

func mirrored(f Facts) []Finding {
	m := f.Mirror
	if m.To == "" {
		return nil // a lab of one bench does well with backups on another disk
	}
	x := Finding{Level: Fine, Part: "mirror", Found: fmt.Sprintf("%s at %s, up to record %d", m.Kind, m.To, m.Ends)}
	if m.Replicas > 1 {
		x.Found += fmt.Sprintf(", kept by %d servers", m.Replicas)
	}
	switch {
	case m.Err != "":
		return []Finding{{Warn, x.Part, m.To + ": " + m.Err, "no record gets there now; nothing is lost by that while the logbook is", "see to it; what is missing is brought once it is there again"}}
	case m.Other:
		return []Finding{{Warn, x.Part, x.Found, "it holds another history than the logbook, and gets no further record", "flaskside mirror check tells more"}}
	case m.Ahead:
		return []Finding{{Warn, x.Part, x.Found, "it holds records that this logbook lacks: this is an older copy", "do not go on with it: flaskside restore --from"}}
	case m.ReadOnly:
		return []Finding{{Warn, x.Part, x.Found, "it can only be read: no record gets there", "make it open to you for writing"}}
	}
	var means, do []string
	warn := func(what, mend string) { x.Level, means, do = Warn, append(means, what), append(do, mend) }
	lacks := fmt.Sprintf("it lacks the newest %d records, since %s", m.Behind, clock(m.LackSince))
	if m.Behind == 1 {
		lacks = "it lacks the newest record, since " + clock(m.LackSince)
	}
	if m.Behind > 0 && f.At.Sub(m.LackSince) > mirrorAge {
		warn(lacks, "flaskside mirror brings them")
	} else if m.Behind > 0 {
		means = append(means, lacks)
	}
	if m.Others {
		warn("others may write there, and take away or spoil what is kept", "chmod go-w")
	}
	if m.Same {
		warn("it lies on the same disk as the logbook, and is lost with it", "another disk or a share (mirror.to)")
	}
	if m.Left > 0 && m.Left < soonShut {
		warn(fmt.Sprintf("what opens it is good until %s, then no record gets there", clock(f.At.Add(m.Left))), "have it made anew (FLASKSIDE_MIRROR_CREDENTIALS)")
	}
	for _, r := range m.Risks {
		warn(r.What, r.Do)
	}
	for _, r := range m.Unknown {
		if x.Level == Fine {
			x.Level = Note
		}
		means, do = append(means, r.What), append(do, r.Do)
	}
	if len(means) == 0 {
		means = []string{"its end is the logbook's; flaskside mirror check looks through all of it"}
	}
	x.Means, x.Do = strings.Join(means, "; "), strings.Join(do, "; ")
	return []Finding{x}
}
