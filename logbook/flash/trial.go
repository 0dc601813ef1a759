package flash

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Bounds of what can be fitted (house default): more trials on one flask than MaxTrials
// is a slip of the pen, and so is a weight outside MinGrams and MaxGrams.
const (
	MaxTrials = 50
	MinGrams  = 0.001
	MaxGrams  = 1000
)

// Trial is what one trial closure showed.
type Trial struct {
	Grade Grade    `json:"grade"`
	Grams *float64 `json:"grams,omitempty"` // flash trimmed, nil where not weighed
	Added bool     `json:"added,omitempty"` // dough was added before this trial
}

// History is one flask: its size and its trial closures in order.
type History struct {
	Size       Size    `json:"size"`
	Trials     []Trial `json:"trials"`
	AddedSince bool    `json:"added_since,omitempty"` // dough was added after the last trial
}

// CheckTrials returns an error that names the first trial that cannot be, counted from 1.
func CheckTrials(trials []Trial) error {
	if len(trials) > MaxTrials {
		return fmt.Errorf("%d trials on one flask: at most %d are followed", len(trials), MaxTrials)
	}
	for i, t := range trials {
		if err := t.check(); err != nil {
			return fmt.Errorf("trial %d: %w", i+1, err)
		}
	}
	return nil
}

func (t Trial) check() error {
	if !t.Grade.Valid() {
		return errors.New("the grade is missing: it is none, slight or heavy")
	}
	if t.Grams != nil && !(*t.Grams >= MinGrams && *t.Grams <= MaxGrams) {
		return fmt.Errorf("%g g is not a weight of flash: give %g to %g g, or leave the weight out", *t.Grams, MinGrams, float64(MaxGrams))
	}
	return nil
}

// String writes the trial as ParseTrials reads it.
func (t Trial) String() string {
	s := t.Grade.String()
	if t.Added {
		s = "+" + s
	}
	if t.Grams != nil {
		s += ":" + strconv.FormatFloat(*t.Grams, 'g', -1, 64)
	}
	return s
}

// ParseTrials reads trials written as in "heavy:7.2,heavy,+heavy,slight": grades in order,
// a weight in grams after a colon, + where dough was added before that trial. Blanks about
// a trial are skipped; an empty text is no trials.
func ParseTrials(s string) ([]Trial, error) {
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	if n := strings.Count(s, ",") + 1; n > MaxTrials {
		return nil, fmt.Errorf("%d trials on one flask: at most %d are followed", n, MaxTrials)
	}
	var trials []Trial
	for i, word := range strings.Split(s, ",") {
		t, err := parseTrial(strings.TrimSpace(word))
		if err != nil {
			return nil, fmt.Errorf("trial %d: %w", i+1, err)
		}
		trials = append(trials, t)
	}
	return trials, nil
}

func parseTrial(word string) (Trial, error) {
	var t Trial
	word, t.Added = strings.CutPrefix(word, "+")
	name, weight, weighed := strings.Cut(word, ":")
	var err error
	if t.Grade, err = ParseGrade(name); err != nil {
		return Trial{}, err
	}
	if weighed {
		g, err := strconv.ParseFloat(weight, 64)
		if err != nil {
			return Trial{}, fmt.Errorf("%.20q is not a weight: write grams with a decimal point, as in heavy:7.2", weight)
		}
		t.Grams = &g
	}
	return t, t.check()
}

// obs is one trial as the model sees it: x = k − 1 within its segment (whole, for a grade),
// and either ln grams
// or a grade.
type obs struct {
	x       float64
	weighed bool
	y       float64 // ln grams where weighed
	grade   Grade
}

// segments cuts a flask's trials where dough was added. There is always a last one, the
// current segment, which may be empty.
func (h History) segments() [][]obs {
	segs := [][]obs{nil}
	for _, t := range h.Trials {
		cur := &segs[len(segs)-1]
		if t.Added && len(*cur) > 0 {
			segs = append(segs, nil)
			cur = &segs[len(segs)-1]
		}
		o := obs{x: float64(len(*cur)), grade: t.Grade}
		if t.Grams != nil {
			o.weighed, o.y = true, math.Log(*t.Grams)
		}
		*cur = append(*cur, o)
	}
	if h.AddedSince && len(segs[len(segs)-1]) > 0 {
		segs = append(segs, nil)
	}
	return segs
}
