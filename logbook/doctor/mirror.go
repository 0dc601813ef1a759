package doctor

import (
	"fmt"
	"strings"
	"time"
)

// Mirror is the copy of every record elsewhere, by a look at its end.
type Mirror struct {
	To        string    `json:"to,omitempty"` // the house setting, "" for none
	Kind      string    `json:"kind,omitempty"`
	Err       string    `json:"err,omitempty"` // why it cannot be looked at
	Ends      uint64    `json:"ends"`          // its last record
	Behind    uint64    `json:"behind"`        // how many newer ones the logbook has
	Other     bool      `json:"other,omitempty"`
	Ahead     bool      `json:"ahead,omitempty"` // it holds records that the logbook lacks
	Same      bool      `json:"same_volume,omitempty"`
	ReadOnly  bool      `json:"read_only,omitempty"`
	Others    bool      `json:"others_write,omitempty"` // others than this account may write there
	MayDelete bool      `json:"may_delete,omitempty"`
	Replicas  int       `json:"replicas,omitempty"`
	Sync      string    `json:"sync,omitempty"`      // what a power cut there can lose
	LackSince time.Time `json:"lack_since,omitzero"` // when the first record it lacks was written
}

// mirrorAge is how long a mirror may lack a record before it is pointed out.
const mirrorAge = 24 * time.Hour

func mirrored(f Facts) []Finding {
	m := f.Mirror
	if m.To == "" {
		return nil // a lab of one bench does well with backups on another disk
	}
	x := Finding{Level: Fine, Part: "mirror", Found: fmt.Sprintf("%s at %s, up to record %d", m.Kind, m.To, m.Ends)}
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
	if m.Behind > 0 && f.At.Sub(m.LackSince) > mirrorAge {
		warn(fmt.Sprintf("it lacks the newest %d records, since %s", m.Behind, clock(m.LackSince)), "flaskside mirror brings them")
	} else if m.Behind > 0 {
		means = append(means, fmt.Sprintf("it lacks the newest %d records, since %s", m.Behind, clock(m.LackSince)))
	}
	if m.Others {
		warn("others may write there, and take away or spoil what is kept", "chmod go-w")
	}
	if m.Same {
		warn("it lies on the same disk as the logbook, and is lost with it", "another disk or a share (mirror.to)")
	}
	if m.Sync != "" {
		if x.Level == Fine {
			x.Level = Note
		}
		means = append(means, m.Sync)
	}
	if len(means) == 0 {
		means = []string{"its end is the logbook's; flaskside mirror check looks through all of it"}
	}
	x.Means, x.Do = strings.Join(means, "; "), strings.Join(do, "; ")
	return []Finding{x}
}
