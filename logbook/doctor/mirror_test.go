package doctor

import (
	"strings"
	"testing"
	"time"
)

// TestMirror: a mirror that is not reached, holds another history, lies on the logbook's own
// disk or can lose what it acknowledged is never called well.
func TestMirror(t *testing.T) {
	f := sound()
	if got := mirrored(f); got != nil {
		t.Errorf("no mirror is set: %+v", got)
	}
	well := MirrorFacts{To: "/mnt/second", Kind: "folder", Ends: 100_000}
	for _, c := range []struct {
		name  string
		set   func(m *MirrorFacts)
		level Severity
		says  string
	}{
		{"well", func(*MirrorFacts) {}, Fine, "its end is the logbook's"},
		{"not there", func(m *MirrorFacts) { m.Err = "no mirror is there" }, Warn, "no record gets there now"},
		{"fork", func(m *MirrorFacts) { m.Other = true }, Warn, "another history"},
		{"ahead", func(m *MirrorFacts) { m.Ahead = true }, Warn, "an older copy"},
		{"read only", func(m *MirrorFacts) { m.ReadOnly = true }, Warn, "can only be read"},
		{"behind a little", func(m *MirrorFacts) { m.Behind, m.LackSince = 3, at.Add(-time.Hour) }, Fine, "it lacks the newest 3 records"},
		{"behind by one", func(m *MirrorFacts) { m.Behind, m.LackSince = 1, at.Add(-time.Hour) }, Fine, "it lacks the newest record, since"},
		{"behind for days", func(m *MirrorFacts) { m.Behind, m.LackSince = 300, at.AddDate(0, 0, -3) }, Warn, "it lacks the newest 300 records, since Sun 22 Nov"},
		{"others", func(m *MirrorFacts) { m.Others = true }, Warn, "others may write there"},
		{"same disk", func(m *MirrorFacts) { m.Same = true }, Warn, "is lost with it"},
		{"can be lost", func(m *MirrorFacts) {
			m.Risks = []Risk{{What: "a power cut can lose the last two minutes", Do: "sync"}}
		}, Warn, "a power cut can lose"},
		{"not known", func(m *MirrorFacts) { m.Unknown = []Risk{{What: "that cannot be seen from here", Do: "look"}} }, Note, "cannot be seen"},
		{"not known and can be lost", func(m *MirrorFacts) {
			m.Unknown, m.Risks = []Risk{{What: "that cannot be seen from here", Do: "look"}}, []Risk{{What: "may be deleted", Do: "deny"}}
		}, Warn, "cannot be seen"},
		{"credentials run out", func(m *MirrorFacts) { m.Left = 48 * time.Hour }, Warn, "is good until Fri 27 Nov"},
		{"credentials are good for long", func(m *MirrorFacts) { m.Left = 4800 * time.Hour }, Fine, "its end is the logbook's"},
	} {
		f.Mirror = well
		c.set(&f.Mirror)
		got := mirrored(f)
		if len(got) != 1 || got[0].Level != c.level || !strings.Contains(got[0].Means, c.says) {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}
