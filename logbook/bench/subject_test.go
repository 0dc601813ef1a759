package bench

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
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
	// One kind that is whole and four that lack a part each, all in one build.
	bodies, subjects := "package action\n", "package bench\n\nimport \"flaskside/logbook/action\"\n"
	lines := map[string]string{} // where each is put on the table
	for _, c := range []struct {
		name         string
		valid, words bool
		on           string
	}{
		{"Whole", true, true, "check, apply"}, {"NoCheck", true, true, "apply"}, {"NoApply", true, true, "check"},
		{"NoValid", false, true, "check, apply"}, {"NoWords", true, false, "check, apply"},
	} {
		bodies += fmt.Sprintf("type %[1]s struct{}\nfunc (%[1]s) Kind() Kind { return %[1]q }\nfunc (%[1]s) Subjects() []Subject { return nil }\n", c.name)
		if c.valid {
			bodies += fmt.Sprintf("func (%s) Valid() error { return nil }\n", c.name)
		}
		if c.words {
			bodies += fmt.Sprintf("func (%s) tell(Teller) string { return \"\" }\n", c.name)
		}
		subjects += fmt.Sprintf("func check%[1]s(_ *checker, s action.%[1]s) (action.%[1]s, error) { return s, nil }\nfunc apply%[1]s(*Bench, action.%[1]s, *Item) {}\n", c.name)
		lines[c.name] = fmt.Sprintf(".go:%d:", 1+strings.Count(subjects, "\n"))
		subjects += fmt.Sprintf("var _ = on(%s)\n", strings.NewReplacer("check", "check"+c.name, "apply", "apply"+c.name).Replace(c.on))
	}
	overlay, err := json.Marshal(map[string]any{"Replace": map[string]string{
		filepath.Join(here, "scratch.go"):              write("subject.go", []byte(subjects)),
		filepath.Join(here, "..", "action/scratch.go"): write("body.go", []byte(bodies)),
	}})
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("go", "build", "-overlay", write("overlay.json", overlay), ".").CombinedOutput()
	if err == nil {
		t.Fatal("it compiles")
	}
	for name, want := range map[string]string{
		"NoCheck": "not enough arguments in call to on", "NoApply": "not enough arguments in call to on",
		"NoValid": "missing method Valid", "NoWords": "missing method tell",
	} {
		told := slices.ContainsFunc(strings.Split(string(out), "\n"), func(line string) bool {
			return strings.Contains(line, lines[name]) && strings.Contains(line, want)
		})
		if !told {
			t.Errorf("%s: not told of:\n%s", name, out)
		}
	}
	if strings.Contains(string(out), "Whole") || strings.Contains(string(out), lines["Whole"]) {
		t.Errorf("the whole kind: %s", out)
	}
}
