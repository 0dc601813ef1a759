package bench

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// Odd is something out of the ordinary about an action: a code that is recorded
// and words for the person.
type Odd struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// NeedsReason is the answer to an action that is unusual and gives no reason. It
// is never asked twice for the same thing about the same flask.
type NeedsReason struct{ Odd []Odd }

// Error says what is unusual, in one line, and what is wanted.
func (e *NeedsReason) Error() string {
	return fmt.Sprintf("unusual: %s: give a reason in \"why\" (a digit 1 to 9, or words)", e.What())
}

// What says what is unusual, in one line.
func (e *NeedsReason) What() string {
	ts := make([]string, len(e.Odd))
	for i, o := range e.Odd {
		ts[i] = o.Text
	}
	return strings.Join(ts, "; ")
}

// ahead is how far into the future an action may lie: the jitter between two
// looks at the clock.
const ahead = 2 * time.Second

// Check holds an action against the bench. It gives back the action as it is to
// be recorded: numbers the book chooses and values of the house filled in, what
// is unusual named. An error refuses it; [NeedsReason] asks for a reason. Nothing
// is ever blocked for being out of order, only for being impossible: a flask that
// is not there, a place taken, a time before the thing it happened to.
func (b *Bench) Check(a action.Action, stamp timers.Stamp, now timers.Now) (action.Action, error) {
	if err := a.Valid(); err != nil {
		return a, err
	}
	if a.At.After(now.Wall.Add(ahead)) {
		return a, fmt.Errorf("%s lies in the future (now is %s): check the time", stampText(a.At), stampText(now.Wall))
	}
	c := checker{b: b, at: stamp, then: asOf(now, a.At)} // questions of time are asked as of the action, not as of now
	d := now.Wall.Sub(a.At)
	c.live = d > -ahead && d < live || slices.Contains(a.Unusual, clockBack)
	told := a.Body
	body, err := c.body(a.Body)
	if err != nil {
		return a, err
	}
	a.Body = body
	if err := a.Body.Valid(); err != nil {
		return a, err
	}
	if err := c.role(a, d < live); err != nil {
		return a, err
	}
	if err := b.noNotes(a); err != nil {
		return a, err
	}
	if err := c.limits(a.Body); err != nil {
		return a, err
	}
	if err := c.usual(told, a.Body, nil); err != nil {
		return a, err
	}
	if _, screen := a.Body.(action.Screen); a.By == "" && !screen { // who leads the bench did not join there
		a.By = b.Crew
	}
	a.Unusual = c.marks
	asked := []Odd{}
	for _, o := range c.odd {
		a.Unusual = append(a.Unusual, o.Code)
		if o, ask := c.asks(o); ask {
			asked = append(asked, o)
		}
	}
	if r, ok := a.Body.(action.BathReading); ok && a.Why == "" && len(asked) > 0 && r.Source != "" && r.Source != Typed {
		a.Why = probeRead // nobody stands there to ask
	}
	if len(asked) > 0 && a.Why == "" {
		return a, &NeedsReason{asked}
	}
	return a, nil
}

// asOf is the present as it was at an instant.
func asOf(now timers.Now, at time.Time) timers.Now {
	back := now.Wall.Sub(at)
	now.Wall, now.Boot, now.Mono = at, now.Boot-back, now.Mono-back
	return now
}

// probeRead is the reason for a reading outside its usual range that nobody typed.
const probeRead = "as the probe read it"

func stampText(t time.Time) string { return t.Format("2006-01-02 15:04:05 -07:00") }

// clockBack marks a record written while the clock stood before the one ahead of it;
// read in again from an export, it keeps its place in the sequence.
const clockBack = "clock-back"

// live is how long ago an action may have been done to count as done now.
const live = 5 * time.Second

type checker struct {
	b       *Bench
	live    bool     // done now, by whatever the clock says
	marks   []string // codes recorded without a question
	at      timers.Stamp
	then    timers.Now
	odd     []Odd
	of      *Flask // of several, the one being looked at
	excused map[string]bool
	things  map[string][]thingOdd // by code: what is unusual about which lot or piece of equipment
}

// since is the time passed from a stamp to the action, by the clock that the windows go
// by: what a window shows as long enough is never asked about as too short.
func (c *checker) since(s timers.Stamp) time.Duration { return c.then.Since(s).For }

func (c *checker) unusual(code, format string, a ...any) {
	if c.of != nil { // one of several: the code says which
		if c.of.excused[code] {
			c.excuse(oddCode(code, c.of.No))
		}
		code = oddCode(code, c.of.No)
	}
	for _, o := range c.odd {
		if o.Code == code {
			return
		}
	}
	c.odd = append(c.odd, Odd{code, fmt.Sprintf(format, a...)})
}

// flask finds a flask at work and refuses a time before its latest record.
func (c *checker) flask(no int) (*Flask, error) {
	f := c.b.Flasks[no]
	switch {
	case !f.AtWork():
		return nil, fmt.Errorf("there is no flask %d on the bench%s", no, c.benchList())
	case earlier(c.at, f.Last) && c.live:
		// The clock stands before what is written. The work goes on, in sequence and
		// marked.
		if !slices.Contains(c.marks, clockBack) {
			c.marks = append(c.marks, clockBack)
		}
	case earlier(c.at, f.Last):
		return nil, fmt.Errorf("%s is before the last record of flask %d (%s): check the time", stampText(c.at.At), no, stampText(f.Last.At))
	}
	if c.excused == nil {
		c.excused = map[string]bool{}
	}
	for k := range f.excused {
		c.excused[k] = true
	}
	return f, nil
}

func (c *checker) benchList() string {
	var ns []string
	for f := range c.b.AtWork() {
		ns = append(ns, fmt.Sprint(f.No))
	}
	if len(ns) == 0 {
		return ": the bench is empty"
	}
	return ": at work are " + strings.Join(ns, ", ")
}

// order calls a step unusual that the route does not have here.
func (c *checker) order(f *Flask, what string, ok ...FlaskStage) {
	for _, s := range ok {
		if f.Stage == s {
			return
		}
	}
	c.unusual("out-of-order", "%s while the flask is at %q", what, f.Stage)
}

// topNumber is the highest number that may be given; the book itself counts on.
const topNumber = 100_000_000

func number(name string, n *int, top int) error {
	if *n == 0 {
		*n = top + 1
	}
	if *n > topNumber {
		return fmt.Errorf("%s %d looks like a typing mistake; the next is %d", name, *n, top+1)
	}
	if *n <= top {
		return fmt.Errorf("%s %d was used before: numbers go up, the next is %d", name, *n, top+1)
	}
	return nil
}

func orInt(v *int, house int) {
	if *v == 0 {
		*v = house
	}
}

func orFloat(v *float64, house float64) {
	if *v == 0 {
		*v = house
	}
}

// body checks one body and fills it in. A kind that no subject knows is refused: nothing
// would hold it against the bench.
func (c *checker) body(body action.Body) (action.Body, error) {
	r, ok := rules[body.Kind()]
	if !ok {
		return body, fmt.Errorf("there is no act %q", body.Kind())
	}
	body, err := r.check(c, body)
	if err != nil {
		return body, err
	}
	c.piecesInUse(body)
	return c.doubted(body), nil
}

// limits holds a body with its values filled in against what the house has.
func (c *checker) limits(body action.Body) error {
	if f := rules[body.Kind()].limits; f != nil {
		return f(c, body)
	}
	return nil
}

func (c *checker) each(ns []int, f func(*Flask)) error {
	for _, n := range ns {
		fl, err := c.flask(n)
		if err != nil {
			return err
		}
		if len(ns) > 1 {
			c.of = fl
		}
		f(fl)
		c.of = nil
	}
	return nil
}

// oddCode is the code of what is unusual about one flask of several in an action.
func oddCode(code string, flask int) string { return fmt.Sprintf("%s@%d", code, flask) }

// oddOf takes such a code apart; flask is 0 where it belongs to all.
func oddOf(code string) (bare string, flask int) {
	bare, no, ok := strings.Cut(code, "@")
	if n, err := strconv.Atoi(no); ok && err == nil {
		return bare, n
	}
	return code, 0
}

func (c *checker) excuse(code string) {
	if c.excused == nil {
		c.excused = map[string]bool{}
	}
	c.excused[code] = true
}
