package mirror

import (
	"fmt"
	"time"

	"flaskside/logbook/words"
)

// Health is how a mirror stands while a bench goes on: what is known of it, and nothing
// beyond.
type Health struct {
	To     string    `json:"to,omitempty"`     // its place, "" where the house has none
	Known  bool      `json:"known,omitempty"`  // its end was seen since this program began, or since the place was set
	Behind uint64    `json:"behind,omitempty"` // how many records it lacks, by its end
	Since  time.Time `json:"since,omitzero"`   // when the first of them was written
	Err    string    `json:"err,omitempty"`    // why nothing gets there now
	Fails  time.Time `json:"fails,omitzero"`   // since when
	Wrong  string    `json:"wrong,omitempty"`  // why it is not the same as the logbook: a person must look
	// Looked is when every record was last looked through and was the same, and up to which.
	Looked   time.Time `json:"looked,omitzero"`
	LookedTo uint64    `json:"looked_to,omitempty"`
}

// unremarked is how long a record may be on its way before it is told of.
const unremarked = 5 * time.Minute

// Late tells whether the mirror lacks a record for longer than it takes one to get there.
func (s Health) Late(now time.Time) bool {
	return s.To != "" && s.Behind > 0 && now.Sub(s.Since) > unremarked
}

// Same tells whether two standings say the same.
func (s Health) Same(o Health) bool {
	return s.To == o.To && s.Known == o.Known && s.Behind == o.Behind && s.Since.Equal(o.Since) && s.Err == o.Err && s.Fails.Equal(o.Fails) &&
		s.Wrong == o.Wrong && s.Looked.Equal(o.Looked) && s.LookedTo == o.LookedTo
}

// Short is what a line has room for: "" where there is nothing to tell.
func (s Health) Short(now time.Time) string {
	switch {
	case s.To == "":
	case s.Wrong != "":
		return "MIRROR NOT THE SAME"
	case s.Late(now):
		return fmt.Sprintf("mirror %d behind since %s", s.Behind, words.Instant(s.Since, now))
	case s.Err != "" && !s.Known && now.Sub(s.Fails) > unremarked:
		return "mirror not reached since " + words.Instant(s.Fails, now)
	}
	return ""
}

// Sentences tell it in full, for a page; none where the house has no mirror.
func (s Health) Sentences(now time.Time) (out []string) {
	if s.To == "" {
		return nil
	}
	switch {
	case s.Behind > 0:
		out = append(out, fmt.Sprintf("The mirror lacks %s, since %s.", newest(s.Behind), words.Instant(s.Since, now)))
	case s.Known && s.Err == "" && s.Wrong == "":
		out = append(out, "The mirror has the newest record.")
	}
	if s.Wrong != "" {
		out = append(out, "The mirror is not the same as the logbook: "+s.Wrong)
	} else if s.Err != "" {
		out = append(out, "Nothing gets to the mirror now: "+s.Err)
	}
	if s.Looked.IsZero() {
		return append(out, "It has not been looked through since the bench was opened.")
	}
	return append(out, fmt.Sprintf("Looked through %s: every record up to %d was there, by its hash.", words.Instant(s.Looked, now), s.LookedTo))
}

func newest(n uint64) string {
	if n == 1 {
		return "the newest record"
	}
	return "the newest " + records(n)
}
