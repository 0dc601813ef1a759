package press

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/timers/longrun"
)

func advise(t *testing.T, jobs []Job, b Capacity, o AdviceOptions) Advice {
	t.Helper()
	a, err := Advise(jobs, houseDurations(), b, o)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// nine is a full bench: nine flasks of three mixes at different stages.
func nine() []Job {
	sizes := house()
	var jobs []Job
	for i := range 9 {
		jobs = append(jobs, Job{
			ID:   fmt.Sprintf("44%02d", i+1),
			Due:  time.Duration(20+8*(i%3)) * time.Minute,
			More: sizes[i%len(sizes)].Totals,
		})
	}
	jobs[2].Progress, jobs[2].Until = Holding, 20*time.Second
	jobs[5].Progress = Untrimmed
	jobs[6].Ready = true
	return jobs
}

// later is the same bench some time on, nothing having been done.
func later(jobs []Job, by time.Duration) []Job {
	jobs = slices.Clone(jobs)
	for i := range jobs {
		jobs[i].Due -= by
		jobs[i].Until -= by
		jobs[i].From -= by
	}
	return jobs
}

// longer is the same bench with more time in every dough.
func longer(jobs []Job, by time.Duration) []Job {
	jobs = slices.Clone(jobs)
	for i := range jobs {
		jobs[i].Due += by
	}
	return jobs
}

func codes(h []Help) []HelpKind {
	var c []HelpKind
	for _, x := range h {
		c = append(c, x.Code)
	}
	return c
}

func TestAdviseOnPlainBenches(t *testing.T) {
	medium := totalsOf("medium")
	for _, c := range []struct {
		name string
		jobs []Job
		next move
	}{
		{"nothing at work", nil, move{}},
		{"one waits", []Job{{ID: "1", Due: mins(35), More: medium}}, move{Press, "1", 0}},
		{"one dries", []Job{{ID: "1", Due: mins(35), From: mins(3), More: medium}}, move{Press, "1", mins(3)}},
		{"one is held", []Job{{ID: "1", Progress: Holding, Until: mins(0.5), Due: mins(35), More: medium}}, move{Open, "1", mins(0.5)}},
		{"one is held over long", []Job{{ID: "1", Progress: Holding, Until: mins(-2), Due: mins(35), More: medium}}, move{Open, "1", 0}},
		{"one goes up", []Job{{ID: "1", Progress: Rising, Until: mins(0.5), Due: mins(35), More: medium}}, move{Open, "1", mins(1.5)}},
		{"one is opened", []Job{{ID: "1", Progress: Untrimmed, Due: mins(35), More: medium}}, move{Trim, "1", 0}},
		{"one is being opened", []Job{{ID: "1", Progress: Opening, Until: mins(0.2), Due: mins(35), More: medium}}, move{Trim, "1", mins(0.2)}},
		{"one is ready", []Job{{ID: "1", Ready: true, Due: mins(35)}}, move{Close, "1", 0}},
		{"one is past its dough", []Job{{ID: "1", Ready: true, Due: mins(-1)}}, move{}},
		{"the last under final closure", []Job{{ID: "1", Progress: Closing, Until: mins(1), Due: mins(5)}}, move{}},
		// A hold takes a minute: time enough to trim the other.
		{"trim during the hold", []Job{
			{ID: "1", Progress: Holding, Until: mins(1), Due: mins(60), More: medium},
			{ID: "2", Progress: Untrimmed, Due: mins(60), More: medium},
		}, move{Trim, "2", 0}},
		// Only the ready one can be in time, and only now.
		{"ready with no minute to lose", []Job{
			{ID: "1", Due: mins(20), More: medium},
			{ID: "2", Ready: true, Due: mins(2.2)},
		}, move{Close, "2", 0}},
		// The press is kept by a flask past its dough: open it for the other.
		{"spent flask in the press", []Job{
			{ID: "1", Progress: Holding, Until: mins(1), Due: mins(-5), More: medium},
			{ID: "2", Due: mins(9), More: knownTo(1)},
		}, move{Open, "1", 0}},
	} {
		if got := advise(t, c.jobs, houseBench(), AdviceOptions{}); got.Next != c.next {
			t.Errorf("%s: next %+v, want %+v", c.name, got.Next, c.next)
		}
	}
}

// With closures known and times worked by hand the chances are certain.
func TestChancesWorkedByHand(t *testing.T) {
	// One closure and the final one take 3.5 + 2 = 5.5 min: in time at 5.5, lost at 5.4.
	for due, want := range map[float64]float64{5.5: 1, 5.4: 0} {
		a := advise(t, []Job{{ID: "1", Due: mins(due), More: knownTo(1)}}, houseBench(), AdviceOptions{})
		if a.Flasks[0].Chance != want || a.Flasks[0].Lost != (want == 0) || a.Expected != want {
			t.Errorf("due %v: %+v", due, a)
		}
	}
	// A final closure under way is over in time or it is not.
	for until, want := range map[float64]float64{1.5: 1, 1.6: 0} {
		a := advise(t, []Job{{ID: "1", Progress: Closing, Until: mins(until), Due: mins(1.5)}}, houseBench(), AdviceOptions{})
		if f := a.Flasks[0]; f.Chance != want || f.Lost != (want == 0) || f.Help != nil || a.Next != (move{}) {
			t.Errorf("final closure over in %v of 1.5 min: %+v", until, a)
		}
	}
	// Two closures 9 min, three 12.5 min: between them the chance is that of two, within half a draw of even spread.
	a := advise(t, []Job{{ID: "1", Due: mins(10), More: []float64{0, 0.7, 0.3}}}, houseBench(), AdviceOptions{})
	if got := a.Flasks[0].Chance; math.Abs(got-0.7) > 1.0/(defaultDraws*estimates) {
		t.Errorf("chance %v, want 0.7", got)
	}
	if a.AllInTime != a.Flasks[0].Chance {
		t.Errorf("all in time %v, the only one %v", a.AllInTime, a.Flasks[0].Chance)
	}
}

func TestWhatWouldHelp(t *testing.T) {
	// Two that want 9 min each, due at 12: one can be in time. The third is past its dough.
	jobs := []Job{
		{ID: "1", Due: mins(12), More: knownTo(2)},
		{ID: "2", Due: mins(12), More: knownTo(2)},
		{ID: "3", Due: mins(1), More: knownTo(2)},
	}
	a := advise(t, jobs, houseBench(), AdviceOptions{})
	if a.Expected != 1 || a.AllInTime != 0 {
		t.Fatalf("expected in time %v, all %v; want 1 and 0", a.Expected, a.AllInTime)
	}
	kept, given := 0, 1
	if a.GiveUp == "1" {
		kept, given = 1, 0
	}
	if a.GiveUp != jobs[given].ID || a.Flasks[kept].Chance != 1 || a.Flasks[given].Chance != 0 {
		t.Errorf("give up %q, chances %v and %v", a.GiveUp, a.Flasks[0].Chance, a.Flasks[1].Chance)
	}
	if h := a.Flasks[kept].Help; h != nil {
		t.Errorf("the one in time is offered %v", h)
	}
	// The other would be in time if it went first, or if the one kept were left: either costs just what it brings.
	if h := a.Flasks[given].Help; !slices.Contains(codes(h), TakeFirst) || !slices.Contains(codes(h), LetWait) || h[0].Chance != 1 || h[0].Others > 0 {
		t.Errorf("the one given up is offered %+v", h)
	} else if slices.Contains(codes(h), Remix) {
		t.Errorf("remix is named beside what brings as much as it costs: %+v", h)
	}
	if got := codes(a.Flasks[2].Help); !slices.Equal(got, []HelpKind{Remix}) || !a.Flasks[2].Lost {
		t.Errorf("the one past its dough is offered %v, lost %v", got, a.Flasks[2].Lost)
	}
	// Where even going first costs more than it brings, remix is named.
	long := []Job{
		{ID: "1", Due: mins(20), More: knownTo(4)},
		{ID: "2", Due: mins(20), More: knownTo(1)},
		{ID: "3", Due: mins(20), More: knownTo(1)},
		{ID: "4", Due: mins(20), More: knownTo(1)},
	}
	a = advise(t, long, houseBench(), AdviceOptions{})
	if a.GiveUp != "1" || a.Expected != 3 || !slices.Contains(codes(a.Flasks[0].Help), Remix) {
		t.Errorf("give up %q, expected %v, help %+v", a.GiveUp, a.Expected, a.Flasks[0].Help)
	}
	// Enough time for all: nobody is given up, nothing is offered.
	a = advise(t, longer(long, mins(60)), houseBench(), AdviceOptions{})
	if a.GiveUp != "" || a.AllInTime != 1 || slices.ContainsFunc(a.Flasks, func(f outlook) bool { return f.Help != nil }) {
		t.Errorf("with an hour more: %+v", a)
	}
}

// More presses and hands lose fewer flasks, and neither alone does as much.
func TestMorePressesAndHands(t *testing.T) {
	jobs := nine()
	var expected []float64
	for _, b := range []Capacity{{1, 1}, {2, 1}, {1, 2}, {2, 2}} {
		expected = append(expected, advise(t, jobs, b, AdviceOptions{Draws: 24}).Expected)
	}
	if one, two := expected[0], expected[3]; two < one+1 || expected[1] < one-0.2 || expected[2] < one || two < expected[1] || two < expected[2] {
		t.Errorf("flasks of nine expected in time %v", expected)
	}
	// Two flasks of 9 min each side by side: both in time at 9 min only with two presses and two pairs of hands.
	pair := []Job{{ID: "1", Due: mins(9), More: knownTo(2)}, {ID: "2", Due: mins(9), More: knownTo(2)}}
	for b, want := range map[Capacity]float64{{1, 1}: 1, {1, 2}: 1, {2, 1}: 1, {2, 2}: 2} {
		if got := advise(t, pair, b, AdviceOptions{}).Expected; got != want {
			t.Errorf("%+v: %v in time, want %v", b, got, want)
		}
	}
}

// Whatever the bench: the same question has the same answer, in whatever order the flasks are named, every figure is a
// number in its range, and what is advised can be done.
func TestAdviseHolds(t *testing.T) {
	longrun.Checks(t, 40, 100)
	rapid.Check(t, func(t *rapid.T) {
		jobs, b := genJobs(t), genBench(t)
		o := AdviceOptions{Draws: rapid.IntRange(1, 20).Draw(t, "draws"), Seed: rapid.Uint64().Draw(t, "seed")}
		a, err := Advise(jobs, houseDurations(), b, o)
		if err != nil {
			t.Fatal(err)
		}
		turned := slices.Clone(jobs)
		slices.Reverse(turned)
		back, err := Advise(turned, houseDurations(), b, o)
		slices.Reverse(back.Flasks)
		if err != nil || !reflect.DeepEqual(a, back) {
			t.Fatalf("%+v, but %+v with the flasks named the other way round", a, back)
		}
		sum := 0.0
		for i, f := range a.Flasks {
			sum += f.Chance
			if f.Flask != jobs[i].ID || !(f.Chance >= 0 && f.Chance <= 1) || f.Lost && f.Chance > 0 {
				t.Fatalf("outlook %+v of flask %s", f, jobs[i].ID)
			}
			for _, h := range f.Help {
				if !(h.Chance >= 0 && h.Chance <= 1) || math.IsNaN(h.Others) || math.Abs(h.Others) > 9 || (h.Code == LetWait) != (h.Flask != "") || h.Flask == f.Flask {
					t.Fatalf("help %+v", h)
				}
			}
		}
		if !(a.AllInTime >= 0 && a.AllInTime <= 1) || math.Abs(a.Expected-sum) > 1e-9 || a.Gain != 0 {
			t.Fatalf("all %v, expected %v of %v, gain %v", a.AllInTime, a.Expected, sum, a.Gain)
		}
		i := slices.IndexFunc(jobs, func(j Job) bool { return j.ID == a.Next.Flask })
		if (a.Next.Verb == Nothing) != (i < 0) || a.Next.Wait < 0 {
			t.Fatalf("next %+v", a.Next)
		}
		if i >= 0 {
			j := jobs[i]
			can := map[Progress][]Verb{Waiting: {Press, Close}, Rising: {Open}, Holding: {Open}, Opening: {Trim}, Untrimmed: {Trim}, Trimming: {Press, Close}}[j.Progress]
			if !slices.Contains(can, a.Next.Verb) {
				t.Fatalf("%s advised for a flask in stage %d", a.Next.Verb, j.Progress)
			}
			if a.Next.Verb == Close && !j.Ready {
				t.Fatal("final closure advised for a flask that is not ready")
			}
			if a.Next.Verb == Press || a.Next.Verb == Close {
				if a.Order[0] != j.ID {
					t.Fatalf("%s next into the press, but the order is %v", j.ID, a.Order)
				}
			}
		}
	})
}

// As seconds pass and nothing is done, the advice changes only for the gain it names.
func TestAdviceIsSteady(t *testing.T) {
	longrun.Checks(t, 20, 100)
	rapid.Check(t, func(t *rapid.T) {
		jobs, b := genJobs(t), genBench(t)
		ask := func(jobs []Job, o AdviceOptions) Advice {
			o.Draws = 32
			a, err := Advise(jobs, houseDurations(), b, o)
			if err != nil {
				t.Fatal(err)
			}
			return a
		}
		a := ask(jobs, AdviceOptions{})
		if again := ask(jobs, AdviceOptions{Previous: &a}); !reflect.DeepEqual(a, again) {
			t.Fatalf("asked twice: %+v, then %+v", a, again)
		}
		jobs = later(jobs, time.Duration(rapid.IntRange(-1000, 1000).Draw(t, "ms"))*time.Millisecond)
		then, afresh := ask(jobs, AdviceOptions{Previous: &a}), ask(jobs, AdviceOptions{})
		was, is := a.Next, then.Next
		was.Wait, is.Wait = 0, 0
		if was == is {
			if then.Gain != 0 {
				t.Fatalf("gain %v by the same advice", then.Gain)
			}
			return
		}
		// It changed: for a real gain, or because what was advised cannot be done any more.
		i := slices.IndexFunc(jobs, func(j Job) bool { return j.ID == was.Flask })
		if then.Gain == 0 && i >= 0 && was.Verb != Open {
			p, w := newPlan(jobs, houseDurations(), b)
			p.freeHands(w)
			if slices.Contains(p.steps(w, nil), step{was.Verb, int8(i)}) {
				t.Fatalf("%+v became %+v for nothing", a.Next, then.Next)
			}
		}
		if then.Gain != 0 && then.Gain <= DefaultGain {
			t.Fatalf("%+v became %+v for a gain of %v", a.Next, then.Next, then.Gain)
		}
		if then.Gain != 0 && afresh.Next != then.Next {
			t.Fatalf("changed to %+v, asked afresh %+v", then.Next, afresh.Next)
		}
	})
}

// Watched for a minute with nothing done, the advice hardly ever changes; nor, for a bench on which not all can be
// in time, does the flask to give up. Asked afresh each time it changes more often.
func TestAdviceDoesNotFlicker(t *testing.T) {
	longrun.SkipUnderRace(t)
	const seconds, every, draws = 60, 5, 16
	benches := longrun.Times(2, 4)
	rng := rand.New(rand.NewPCG(8, 15))
	sizes := house()
	type count struct{ next, giveUp, order, jumps int }
	var held, afresh count
	add := func(n *count, a, b Advice) {
		if a.Next != b.Next {
			n.next++
		}
		if a.GiveUp != b.GiveUp {
			n.giveUp++
		}
		if !slices.Equal(a.Order, b.Order) {
			n.order++
		}
		for i := range a.Flasks {
			if math.Abs(a.Flasks[i].Chance-b.Flasks[i].Chance) > 0.25 {
				n.jumps++
			}
		}
	}
	for range benches {
		var jobs []Job
		for i := range 5 {
			jobs = append(jobs, Job{ID: fmt.Sprint(i), Due: time.Duration(900+rng.IntN(900)) * time.Second, More: sizes[rng.IntN(3)].Totals})
		}
		with := advise(t, jobs, houseBench(), AdviceOptions{Draws: draws, Work: 60_000})
		without := with
		for s := every; s <= seconds; s += every {
			now := later(jobs, time.Duration(s)*time.Second)
			a, b := advise(t, now, houseBench(), AdviceOptions{Previous: &with, Draws: draws, Work: 60_000}), advise(t, now, houseBench(), AdviceOptions{Draws: draws, Work: 60_000})
			add(&held, with, a)
			add(&afresh, without, b)
			with, without = a, b
		}
	}
	t.Logf("changes on %d benches watched %d s each: %+v; asked afresh: %+v", benches, seconds, held, afresh)
	if held.next > benches || held.giveUp > benches || held.order > 4*benches {
		t.Error("that is flicker")
	}
	if held.next >= afresh.next || held.order >= afresh.order || held.giveUp > afresh.giveUp {
		t.Error("holding to what was said makes no odds on these benches: they try nothing")
	}
}

// Where a flask is out of time nothing says that all are in time, and a flask that cannot be in time has no turn in the
// press, whatever else there is.
func TestOutOfTimeIsSaid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		jobs := genJobs(t)
		a, err := Advise(jobs, houseDurations(), genBench(t), AdviceOptions{Draws: 4, Work: rapid.SampledFrom([]int{noWork, 20_000}).Draw(t, "work")})
		if err != nil {
			t.Fatal(err)
		}
		lost := 0
		for _, f := range a.Flasks {
			if !f.Lost {
				continue
			}
			lost++
			if slices.Contains(a.Order, f.Flask) || a.Next.Flask == f.Flask && a.Next.Verb != Open {
				t.Fatalf("%s cannot be in time: next %+v, order %v", f.Flask, a.Next, a.Order)
			}
		}
		switch {
		case lost == 0 && a.AllInTime != a.Others && len(jobs) > 0, lost > 0 && a.AllInTime != 0, lost == len(jobs) && a.Others != 0:
			t.Fatalf("%d of %d lost: all in time %v, the others %v", lost, len(jobs), a.AllInTime, a.Others)
		}
	})
	dead := []Job{{ID: "1", Due: mins(-3), More: knownTo(2)}, {ID: "2", Ready: true, Due: mins(-1)}}
	a := advise(t, dead, houseBench(), AdviceOptions{})
	if a.AllInTime != 0 || a.Others != 0 || a.Order != nil || a.Next != (move{}) || a.GiveUp != "" {
		t.Errorf("two past their dough: %+v", a)
	}
}

func TestPreviousIsKeptUnlessWorse(t *testing.T) {
	// Alike in everything: either may go first, and what was said stands.
	jobs := []Job{{ID: "1", Due: mins(30), More: totalsOf("medium")}, {ID: "2", Due: mins(30), More: totalsOf("medium")}}
	for _, id := range []string{"1", "2"} {
		a := advise(t, jobs, houseBench(), AdviceOptions{Previous: &Advice{Next: move{Verb: Press, Flask: id}}})
		if a.Next.Flask != id || a.Gain != 0 {
			t.Errorf("said press %s before; now %+v", id, a.Next)
		}
	}
	// One would be lost by waiting: what was said is overturned, by a flask.
	jobs = []Job{{ID: "1", Due: mins(40), More: knownTo(2)}, {ID: "2", Due: mins(9), More: knownTo(2)}}
	a := advise(t, jobs, houseBench(), AdviceOptions{Previous: &Advice{Next: move{Verb: Press, Flask: "1"}}})
	if a.Next.Flask != "2" || math.Abs(a.Gain-1) > 0.1 {
		t.Errorf("next %+v, gain %v; want flask 2 and a gain of one flask", a.Next, a.Gain)
	}
	// Of two alike the one once given up stays given up, and the order stands; a turn much earlier changes it.
	jobs = []Job{{ID: "1", Due: mins(12), More: knownTo(2)}, {ID: "2", Due: mins(12), More: knownTo(2)}}
	for _, id := range []string{"1", "2"} {
		if a := advise(t, jobs, houseBench(), AdviceOptions{Previous: &Advice{GiveUp: id}}); a.GiveUp != id {
			t.Errorf("gave up %s before, now %q", id, a.GiveUp)
		}
	}
	hours := &plan{due: []time.Duration{time.Hour, time.Hour, time.Hour}}
	q := &desk{ahead: ahead{plan: hours}, jobs: []Job{{ID: "1"}, {ID: "2"}, {ID: "3"}}, bench: &world{cells: make([]cell, 3)}, opt: AdviceOptions{Previous: &Advice{Order: []string{"2", "1"}}}}
	for _, c := range []struct {
		one, two, three float64
		want            string
	}{{1, 1, 3, "213"}, {1, 1.4, 3, "213"}, {1, 1.6, 3, "123"}, {1, 1.4, 0, "321"}} {
		var a Advice
		q.order(&a, []time.Duration{mins(c.one), mins(c.two), mins(c.three)})
		if got := strings.Join(a.Order, ""); got != c.want {
			t.Errorf("turns %v, said 2 before 1: order %s, want %s", c, got, c.want)
		}
	}
	jobs = []Job{{ID: "1", Due: mins(40), More: knownTo(2)}, {ID: "2", Due: mins(9), More: knownTo(2)}}
	// A verdict on a flask no longer there is of no account.
	a = advise(t, jobs, houseBench(), AdviceOptions{Previous: &Advice{Next: move{Verb: Close, Flask: "9"}, Order: []string{"9"}, GiveUp: "9"}})
	if a.Next.Flask != "2" || !slices.Equal(a.Order, []string{"2", "1"}) || a.GiveUp != "" {
		t.Errorf("%+v", a)
	}
}

func TestCostOfMix(t *testing.T) {
	work := []Job{{ID: "1", Due: mins(10), More: knownTo(2)}} // 9 min of work
	fresh := []Job{{ID: "2", From: mins(12), Due: mins(40), More: knownTo(2)}}
	ask := func(mixing time.Duration) MixCost {
		c, err := CostOfMix(work, fresh, mixing, houseDurations(), houseBench(), AdviceOptions{})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	// A minute's mixing leaves 9 min of 10: it costs nothing. Two leave 8: it costs the flask.
	if c := ask(mins(1)); c.Cost != 0 || c.Expected != 1 || c.AtWork[0] != (change{"1", 1, 1}) || c.Fresh[0].Chance != 1 {
		t.Errorf("a minute: %+v", c)
	}
	if c := ask(mins(2)); c.Cost != 1 || c.Expected != 1 || c.AtWork[0] != (change{"1", 1, 0}) {
		t.Errorf("two minutes: %+v", c)
	}
	// A second pair of hands mixes while the first is at the press.
	c, err := CostOfMix(work, fresh, mins(2), houseDurations(), Capacity{1, 2}, AdviceOptions{})
	if err != nil || c.Cost != 0 {
		t.Errorf("with two pairs of hands: %+v, %v", c, err)
	}
	if c, err := CostOfMix(nil, nil, 0, houseDurations(), houseBench(), AdviceOptions{}); err != nil || c.Cost != 0 || c.Expected != 0 {
		t.Errorf("nothing at all: %+v, %v", c, err)
	}
	for name, bad := range map[string]func() (MixCost, error){
		"twice": func() (MixCost, error) {
			return CostOfMix(work, work, 0, houseDurations(), houseBench(), AdviceOptions{})
		},
		"mixing takes": func() (MixCost, error) {
			return CostOfMix(work, fresh, -1, houseDurations(), houseBench(), AdviceOptions{})
		},
	} {
		if _, err := bad(); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestQuestionsOutOfRange(t *testing.T) {
	good := Job{ID: "4417", Due: mins(30), More: knownTo(2)}
	with := func(change func(*Job)) []Job { j := good; change(&j); return []Job{j} }
	many := make([]Job, MaxJobs+1)
	for i := range many {
		many[i] = good
		many[i].ID = fmt.Sprint(i)
	}
	for _, c := range []struct {
		want string
		jobs []Job
		d    Durations
		b    Capacity
		o    AdviceOptions
	}{
		{"without a name", with(func(j *Job) { j.ID = "" }), houseDurations(), houseBench(), AdviceOptions{}},
		{"given twice", []Job{good, good}, houseDurations(), houseBench(), AdviceOptions{}},
		{"at most 18", many, houseDurations(), houseBench(), AdviceOptions{}},
		{"stage", with(func(j *Job) { j.Progress = finished }), houseDurations(), houseBench(), AdviceOptions{}},
		{"out of range", with(func(j *Job) { j.Due = MaxTime + 1 }), houseDurations(), houseBench(), AdviceOptions{}},
		{"out of range", with(func(j *Job) { j.Until = -MaxTime - 1 }), houseDurations(), houseBench(), AdviceOptions{}},
		{"chances of further closures", with(func(j *Job) { j.More = nil }), houseDurations(), houseBench(), AdviceOptions{}},
		{"not a chance", with(func(j *Job) { j.More = []float64{math.NaN()} }), houseDurations(), houseBench(), AdviceOptions{}},
		{"press duration trim", []Job{good}, Durations{Trim: -1}, houseBench(), AdviceOptions{}},
		{"0 presses", []Job{good}, houseDurations(), Capacity{0, 1}, AdviceOptions{}},
		{"10 pairs of hands", []Job{good}, houseDurations(), Capacity{1, 10}, AdviceOptions{}},
		{"draws", []Job{good}, houseDurations(), houseBench(), AdviceOptions{Draws: -1}},
		{"draws", []Job{good}, houseDurations(), houseBench(), AdviceOptions{Draws: maxDraws + 1}},
		{"gain", []Job{good}, houseDurations(), houseBench(), AdviceOptions{Gain: math.NaN()}},
	} {
		if _, err := Advise(c.jobs, c.d, c.b, c.o); err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("want an error that says %q, got %v", c.want, err)
		}
	}
	// All at the limits is answered.
	a := advise(t, many[:MaxJobs], Capacity{maxBench, maxBench}, AdviceOptions{Draws: 2})
	if a.Expected != MaxJobs {
		t.Errorf("with a press each: %v of %d in time", a.Expected, MaxJobs)
	}
	if _, err := Advise([]Job{good}, Durations{}, houseBench(), AdviceOptions{}); err != nil {
		t.Errorf("work that takes no time: %v", err)
	}
}

func BenchmarkAdviseNineFlasks(b *testing.B) {
	for name, more := range map[string]time.Duration{"NotAllInTime": 0, "TimeEnough": time.Hour} {
		jobs := longer(nine(), more)
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Advise(jobs, houseDurations(), houseBench(), AdviceOptions{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
