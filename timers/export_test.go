package timers

// For tests from outside the package.
const (
	FloodSpan   = floodSpan
	Rise        = rise
	Return      = goneAway
	Acknowledge = acknowledge
	Shelve      = shelve
	Unshelve    = unshelve
)

type Event = event
