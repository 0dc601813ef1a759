package bench

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers"
)

// Trial closures: packed and in the press, at pressure, open, judged and trimmed. What
// the closures show is read in ready.go, whose turn it is in order.go.
var pressing = subject{
	rules: []rule{
		on(checkPressIn, applyPressIn, mends(),
			limits(func(c *checker, a action.PressIn) error { return c.pressNumber(a.Press) }),
			rests(func(b *Bench, a action.PressIn, on action.Subject) int {
				if f := b.Flasks[a.Flask]; on.Class == 'm' && f != nil && f.Mix == on.No {
					return 1
				}
				return 0
			})),
		on(checkPressAt, applyPressAt, mends("pressure_psi"),
			limits(func(_ *checker, a action.PressAt) error { return pressureTold(a.PressurePSI) })),
		on(checkPressOpen, applyPressOpen, mends()),
		on(checkFlash, applyFlash, mends("grade", "grams", "where")),
		on(checkFlashMore, applyFlashMore, mends("grams", "where")),
		on(checkDoughAdd, func(b *Bench, a action.DoughAdd, it *Item) {
			f := b.flask(a.Flask, it)
			f.AddedSince, f.Inspected, f.trend = true, false, timers.Latest(f.trend, it.set())
		}),
		on(checkInspect, func(b *Bench, a action.Inspect, it *Item) {
			f := b.flask(a.Flask, it)
			f.Inspected, f.trend = true, timers.Latest(f.trend, it.set())
		}),
	},
	ofFlask: hold,
	signals: (*Bench).shortages,
	next: map[FlaskStage]func(*Bench, *Flask, timers.Now) Step{
		InPress: always(DoReach),
		Holding: always(DoOpen),
		Judging: always(DoJudge),
		Trimmed: afterTrimming,
	},
}

// Trial is one trial closure.
type Trial struct {
	N         int
	Press     int
	In        timers.Stamp
	At        *timers.Stamp // pressure reached
	Out       *timers.Stamp // opened
	Judged    *timers.Stamp
	PSI       float64
	Gauge     string         // as it was read off, with its unit
	Doubts    []action.Doubt // what spoke against the gauge then
	HoldAimS  int
	HeldS     int // from pressure reached to open, whole seconds
	Grade     action.Grade
	Grams     float64
	Where     []string
	Added     bool // dough was added before it
	Corrected bool
	InID      string // ids of the records it is made of
	AtID      string
}

// Trial gives the latest trial closure, or nil.
func (f *Flask) Trial() *Trial {
	if len(f.Trials) == 0 {
		return nil
	}
	return &f.Trials[len(f.Trials)-1]
}

// trial gives the latest trial closure, and one to write to where there is none.
func (f *Flask) trial() *Trial {
	if t := f.Trial(); t != nil {
		return t
	}
	f.Trials = append(f.Trials, Trial{N: 1})
	return f.Trial()
}

// Judged lists the closures that were judged.
func (f *Flask) Judged() []Trial {
	out := make([]Trial, 0, len(f.Trials))
	for _, t := range f.Trials {
		if t.Grade != "" {
			out = append(out, t)
		}
	}
	return out
}

// pressNumber refuses a press that the house has not.
func (c *checker) pressNumber(n int) error {
	if has := c.b.House.Press.Presses; n > has {
		return fmt.Errorf("there is no press %d: the settings have %d", n, has)
	}
	return nil
}

// holdsPress tells whether a flask is in a press: from when it is laid in until it is
// opened, and at the final closure until it is out under its clamp. This and nothing else
// says that a press is taken.
func (f *Flask) holdsPress() bool {
	return f.known && (f.Stage == InPress || f.Stage == Holding || f.Stage == Metal)
}

// InPress lists the flasks in a press, lowest number first; more than one where somebody
// gave a reason for it.
func (b *Bench) InPress(n int) []*Flask {
	var out []*Flask
	for f := range b.AtWork() {
		if f.Press == n && f.holdsPress() {
			out = append(out, f)
		}
	}
	slices.SortFunc(out, func(x, y *Flask) int { return cmp.Compare(x.No, y.No) })
	return out
}

// FreePress is the first press in use that no flask is in; the first of all where each is
// taken.
func (b *Bench) FreePress() int {
	all := b.Usable(action.Press)
	for _, n := range all {
		if len(b.InPress(n)) == 0 {
			return n
		}
	}
	if len(all) > 0 {
		return all[0]
	}
	return 1
}

// pressTaken calls it unusual to use a press that another flask is in.
func (c *checker) pressTaken(f *Flask, press int) {
	for _, other := range c.b.InPress(press) {
		if other.No != f.No {
			c.unusual("press-taken", "case %s is in press %d", other.Case, press)
		}
	}
}

// checkPressIn looks at everything that makes packing unwise: a wet separator, no dough
// yet, dough no more, a press that is taken.
func checkPressIn(c *checker, a action.PressIn) (action.PressIn, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	orInt(&a.Press, 1)
	c.order(f, "trial closure", Drying, Trimmed)
	c.pressTaken(f, a.Press)
	if len(f.Trials) == 0 {
		c.separatorDry(f)
	}
	m := c.b.MixOf(f)
	if m == nil {
		c.unusual("no-mix", "no mix recorded for this flask")
		return a, nil
	}
	if err := c.made(m); err != nil {
		return a, err
	}
	if _, reached := m.DoughLeft(c.then); !reached {
		c.unusual("not-dough", "mix %s is not expected to be dough yet", m.Letter())
	}
	c.doughSpent(m)
	return a, nil
}

func applyPressIn(b *Bench, a action.PressIn, it *Item) {
	f := b.flask(a.Flask, it)
	f.Trials = append(f.Trials, Trial{N: len(f.Trials) + 1, Press: a.Press, In: it.Stamp, Added: a.Added || f.AddedSince, InID: it.Action.ID, Corrected: it.Corrected()})
	if a.Added {
		f.Inspected = false // what was looked at was another filling
	}
	f.Press, f.AddedSince = a.Press, false
	f.to(InPress, it)
}

func checkPressAt(c *checker, a action.PressAt) (action.PressAt, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	h := c.b.House.Press
	c.gauge(&a.PressurePSI, &a.Gauge, h.PressurePSI)
	orInt(&a.HoldS, h.HoldS)
	c.order(f, "pressure reached", InPress)
	return a, nil
}

// gauge fills in the pressure that was read off, or the house's, and keeps the text of the
// gauge where its unit is not psi: a house may read another unit later.
func (c *checker) gauge(psi *float64, text *string, own float64) {
	if *psi == 0 && *text != "" {
		*psi, _ = units.ParsePressure(*text, units.PSI) // held valid by the action
	}
	orFloat(psi, own)
	if in := c.b.House.Units.Pressure; *text == "" && in != units.PSI {
		*text = units.FormatPressure(*psi, in)
	}
}

// gaugeSet gives the fields that a correction sets, with the text of the gauge beside a
// pressure, in the unit that the house reads now.
func (c *checker) gaugeSet(a action.Correct) json.RawMessage {
	var set map[string]json.RawMessage
	var psi float64
	it, ok := c.b.Item(a.Of)
	if !ok || json.Unmarshal(a.Set, &set) != nil || set["gauge"] != nil || json.Unmarshal(set["pressure_psi"], &psi) != nil {
		return a.Set
	}
	had := ""
	switch was := it.Body.(type) {
	case action.PressAt:
		had = was.Gauge
	case action.MetalToMetal:
		had = was.Gauge
	default:
		return a.Set
	}
	in := c.b.House.Units.Pressure
	if had == "" && in == units.PSI {
		return a.Set
	}
	text, err := json.Marshal(units.FormatPressure(psi, in))
	if err != nil {
		return a.Set
	}
	set["gauge"] = text
	out, err := json.Marshal(set)
	if err != nil {
		return a.Set
	}
	return out
}

// gauge is a pressure as it was read off; without its text, in the unit of the house.
func (b *Bench) gauge(psi float64, text string) string {
	if text != "" || psi == 0 {
		return text
	}
	return units.FormatPressure(psi, b.House.Units.Pressure)
}

func applyPressAt(b *Bench, a action.PressAt, it *Item) {
	f := b.flask(a.Flask, it)
	t := f.trial()
	t.At, t.PSI, t.Gauge, t.HoldAimS, t.AtID = it.at(), a.PressurePSI, b.gauge(a.PressurePSI, a.Gauge), a.HoldS, it.Action.ID
	t.Doubts = a.Doubts
	b.tell(a.Doubts, it)
	t.Corrected = t.Corrected || it.Corrected()
	f.to(Holding, it)
}

func checkPressOpen(c *checker, a action.PressOpen) (action.PressOpen, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	c.order(f, "press opened", Holding)
	if t := f.Trial(); t != nil && t.At != nil && f.Stage == Holding {
		if held := c.since(*t.At); held < time.Duration(t.HoldAimS)*time.Second {
			c.unusual("hold-short", "held %d s of %d s", int(held/time.Second), t.HoldAimS)
		}
	}
	return a, nil
}

func applyPressOpen(b *Bench, a action.PressOpen, it *Item) {
	f := b.flask(a.Flask, it)
	t := f.trial()
	t.Out = it.at()
	t.Corrected = t.Corrected || it.Corrected()
	if t.At != nil {
		t.HeldS = int(timers.Elapsed(*t.At, it.Stamp) / time.Second)
	}
	f.to(Judging, it)
}

func checkFlash(c *checker, a action.Flash) (action.Flash, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	c.order(f, "flash judged", Judging)
	return a, nil
}

func applyFlash(b *Bench, a action.Flash, it *Item) {
	f := b.flask(a.Flask, it)
	t := f.trial()
	t.Judged, t.Grade, t.Grams, t.Where = it.at(), a.Grade, a.Grams, a.Where
	t.Corrected = t.Corrected || it.Corrected()
	f.to(Trimmed, it)
}

func checkFlashMore(c *checker, a action.FlashMore) (action.FlashMore, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	if len(f.Judged()) == 0 {
		return a, fmt.Errorf("flask %d has no judged closure to add to", a.Flask)
	}
	return a, nil
}

func applyFlashMore(b *Bench, a action.FlashMore, it *Item) {
	f := b.flask(a.Flask, it)
	t := f.trial()
	if a.Grams > 0 {
		f.trend = timers.Latest(f.trend, it.set())
		t.Grams = a.Grams
	}
	if len(a.Where) > 0 {
		t.Where = a.Where
	}
	t.Corrected = t.Corrected || it.Corrected()
}

func checkDoughAdd(c *checker, a action.DoughAdd) (action.DoughAdd, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	c.order(f, "dough added", Trimmed)
	return a, nil
}

func checkInspect(c *checker, a action.Inspect) (action.Inspect, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	c.order(f, "mould inspected", Judging, Trimmed)
	return a, nil
}

// hold gives the window of a flask at pressure.
func hold(_ *Bench, f *Flask) []Window {
	t := f.Trial()
	if f.Stage != Holding || t == nil || t.At == nil {
		return nil
	}
	ends := timers.Ends{FloorS: t.HoldAimS, Floor: timers.Medium, Set: f.staged()}
	return []Window{{What: Hold, Flasks: []int{f.No}, Window: timers.NewWindow(flaskKey(f.No, "hold/"+strconv.Itoa(t.N)), *t.At, ends)}}
}

// afterTrimming is the step of a flask that was judged: the press again, or for
// good, or another mix where the dough is spent.
func afterTrimming(b *Bench, f *Flask, now timers.Now) Step {
	m := b.MixOf(f)
	if m != nil && m.Spent(now) {
		return DoMix
	}
	if m != nil && m.Dough == nil && f.Trial() != nil && between(f.Trial().In, m.Made) > 0 {
		return DoDough // packed anew: the new mix is not dough yet
	}
	if b.Verdict(f, now).Ready {
		return DoFinal
	}
	return DoPress
}

// UnderPressure gives the ids of the records that tell a pressure below the one the
// house asked for when they were recorded; none told, or none asked for, is not below.
// Corrected pressures count as corrected, records taken back not at all.
func (b *Bench) UnderPressure() map[string]bool {
	out := map[string]bool{}
	asked := house.Default().Press
	for i := range b.Items {
		it := &b.Items[i]
		if it.TakenBack != nil {
			continue
		}
		told, want := 0.0, asked.PressurePSI
		switch a := it.Body.(type) {
		case action.Settings:
			asked = a.House.Press
		case action.PressAt:
			told = a.PressurePSI
		case action.MetalToMetal:
			told, want = a.PressurePSI, asked.Final()
		}
		if told > 0 && told < want {
			out[it.Action.ID] = true
		}
	}
	return out
}
