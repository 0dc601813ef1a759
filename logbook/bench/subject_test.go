package bench

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// polish is a kind of record that only this test knows; its words are another's.
type polish struct {
	action.Inspect
	Flask int `json:"flask"`
}

func (polish) Kind() action.Kind            { return "polish" }
func (polish) Valid() error                 { return nil }
func (p polish) Subjects() []action.Subject { return []action.Subject{{Class: 'f', No: p.Flask}} }

// checkPolish and applyPolish are all that a new kind takes: without either its line in
// the table does not compile.
func checkPolish(c *checker, p polish) (polish, error) {
	f, err := c.flask(p.Flask)
	if err != nil {
		return p, err
	}
	c.order(f, "polished", Checked)
	return p, nil
}

func applyPolish(b *Bench, p polish, it *Item) { b.flask(p.Flask, it).Tag = "polished" }

// A kind is added by one line in its subject; one that no subject knows is refused, and
// counts for nothing where a book holds it.
func TestAKindIsAddedInItsSubjectAlone(t *testing.T) {
	at := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	open := action.Action{ID: "1", At: at, Body: action.FlaskOpen{Flask: 1, Place: 1, Case: "4417", Base: "upper", Size: "large"}}
	done := action.Action{ID: "2", At: at, Body: polish{Flask: 1}, Why: "9"}
	recs := []record.Record{{Seq: 1, Action: open, Stamp: timers.Stamp{At: at}}}
	now := timers.Now{Reading: timers.Reading{Wall: at}}
	if _, err := Fold(recs, Counters{}).Check(done, timers.Stamp{At: at}, now); err == nil || !strings.Contains(err.Error(), `no act "polish"`) {
		t.Fatalf("an unknown kind: %v", err)
	}
	with := append(recs, record.Record{Seq: 2, Action: done, Stamp: timers.Stamp{At: at}})
	if got := Fold(with, Counters{}).Flasks[1].Tag; got != "" {
		t.Fatalf("an unknown kind made the tag %q", got)
	}

	before := table
	t.Cleanup(func() { register(before...) })
	finish := before[7]
	finish.rules = append(finish.rules[:len(finish.rules):len(finish.rules)], on(checkPolish, applyPolish))
	register(append(append(before[:7:7], finish), before[8:]...)...)
	got, err := Fold(recs, Counters{}).Check(done, timers.Stamp{At: at}, now)
	if err != nil || strings.Join(got.Unusual, " ") != "out-of-order" {
		t.Fatalf("%v, unusual %v", err, got.Unusual)
	}
	b := Fold(with, Counters{})
	if got := b.Flasks[1].Tag; got != "polished" {
		t.Fatalf("tag %q", got)
	}
	if n := len(b.Living()); n != 2 {
		t.Fatalf("%d records alive", n)
	}
}

// A rule with nothing in place of a part is found when the program starts.
func TestARuleWithANilPartIsRefused(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a nil check is taken")
		}
	}()
	on(nil, applyPolish)
}

// Every kind that can be told has its rule, and every stage of the route its next step.
func TestTheTableIsWhole(t *testing.T) {
	for _, k := range action.Kinds() {
		r, ok := rules[k]
		if !ok {
			t.Errorf("no subject knows the kind %q", k)
			continue
		}
		if r.check == nil || r.apply == nil {
			t.Errorf("the rule of %q is not whole", k)
		}
	}
	if len(rules) != len(action.Kinds()) {
		t.Errorf("%d rules for %d kinds", len(rules), len(action.Kinds()))
	}
	for _, s := range Stages {
		if s != Finished && steps[s] == nil {
			t.Errorf("no step follows the stage %q", s)
		}
	}
	for _, class := range []byte("fmlt") {
		if lives[class] == nil {
			t.Errorf("nobody tells how long a %q lives", class)
		}
	}
}

// What is offered to be set right is a value that the kind has, of a kind that is
// corrected; its time is always among them.
func TestWhatIsOfferedToBeSetRightExists(t *testing.T) {
	for kind, r := range rules {
		if r.mends == nil {
			continue
		}
		if r.uncorrected || r.mends[len(r.mends)-1] != "at" {
			t.Errorf("%s: uncorrected %t, offers %v", kind, r.uncorrected, r.mends)
		}
		for _, field := range r.mends[:len(r.mends)-1] {
			// A field that a body has is refused for its value, one that it lacks for its name.
			_, err := action.DecodeBody(kind, []byte(`{"`+field+`":{}}`))
			if err == nil || strings.Contains(err.Error(), "unknown field") {
				t.Errorf("%s has no %q: %v", kind, field, err)
			}
		}
	}
}

// A caution counts as read for one shift, for who read it, and is still at hand when it
// ends.
func TestACautionIsReadOnceAShift(t *testing.T) {
	at := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	b := Fold([]record.Record{{Seq: 1, Action: action.Action{ID: "1", At: at, By: "KT", Body: action.Caution{Hazard: "press"}}, Stamp: timers.Stamp{At: at}}}, Counters{})
	for _, c := range []struct {
		hazard, by string
		after      time.Duration
		read       bool
	}{{"press", "KT", 0, true}, {"press", "KT", Shift - time.Second, true}, {"press", "KT", Shift, false}, {"press", "LM", 0, false}, {"bath", "KT", 0, false}} {
		now := timers.Now{Reading: timers.Reading{Wall: at.Add(c.after)}}
		if got := b.CautionRead(c.hazard, c.by, now); got != c.read {
			t.Errorf("%+v: %t", c, got)
		}
	}
	if cautionMemory <= Shift {
		t.Errorf("kept for %s, a shift is %s", cautionMemory, Shift)
	}
	for step, hazard := range hazards {
		if err := (action.Caution{Hazard: hazard}).Valid(); err != nil {
			t.Errorf("%s: %v", step, err)
		}
	}
}

// A part that is forgotten does not compile: scratch kinds without a check, without an
// apply, without a body's Valid and without words are put beside the packages' own files.
func TestAForgottenPartDoesNotCompile(t *testing.T) {
	dir := t.TempDir()
	here, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	write := func(name string, b []byte) string {
		name = filepath.Join(dir, name)
		if err := os.WriteFile(name, b, 0o600); err != nil {
			t.Fatal(err)
		}
		return name
	}
	build := func(body, subject string) string {
		overlay, err := json.Marshal(map[string]any{"Replace": map[string]string{
			filepath.Join(here, "scratch.go"):              write("subject.go", []byte("package bench\n\nimport \"flaskside/logbook/action\"\n"+subject)),
			filepath.Join(here, "..", "action/scratch.go"): write("body.go", []byte("package action\n"+body)),
		}})
		if err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("go", "build", "-overlay", write("overlay.json", overlay), ".").CombinedOutput()
		if (err == nil) != (len(out) == 0) {
			t.Fatalf("%v: %s", err, out)
		}
		return string(out)
	}
	const valid, tell = "func (Scratch) Valid() error { return nil }\n", "func (Scratch) tell(Teller) string { return \"scratch\" }\n"
	const body = `
type Scratch struct{}

func (Scratch) Kind() Kind          { return "scratch" }
func (Scratch) Subjects() []Subject { return nil }
`
	const subject = `
func checkScratch(_ *checker, s action.Scratch) (action.Scratch, error) { return s, nil }
func applyScratch(*Bench, action.Scratch, *Item) {}

`
	const both = subject + "var _ = on(checkScratch, applyScratch)\n"
	if out := build(body+valid+tell, both); out != "" {
		t.Errorf("the whole kind: %s", out)
	}
	for what, c := range map[string]struct{ body, subject, want string }{
		"no check": {body + valid + tell, subject + "var _ = on(applyScratch)\n", "not enough arguments in call to on"},
		"no apply": {body + valid + tell, subject + "var _ = on(checkScratch)\n", "not enough arguments in call to on"},
		"no valid": {body + tell, both, "missing method Valid"},
		"no words": {body + valid, both, "missing method tell"},
	} {
		if out := build(c.body, c.subject); !strings.Contains(out, c.want) {
			t.Errorf("%s: %q", what, out)
		}
	}
}
