package review

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/stats"
	"flaskside/logbook/tables"
	"flaskside/timers/each"
)

// AtBench is the review of one of several benches.
type AtBench struct {
	Bench  string   `json:"bench"`
	Book   string   `json:"book"`            // identity of its logbook
	Lacks  []string `json:"lacks,omitempty"` // records that could not be looked at
	Err    string   `json:"err,omitempty"`   // why the bench could not be looked at
	Review Review   `json:"review,omitzero"`
}

// together is a share of all benches, and of each beside it.
type together struct {
	Name    string      `json:"name"`
	All     stats.Share `json:"all"`
	Benches []beside    `json:"benches"`
}

// beside is the share of one bench against that of all.
type beside struct {
	Bench  string       `json:"bench"`
	Share  stats.Share  `json:"share"`
	Limits stats.Limits `json:"limits"`           // of chance, where all benches have the same share
	Beyond float64      `json:"beyond,omitempty"` // level of the limits that it lies outside of
}

const (
	noteFunnel = "Beyond chance: outside the exact binomial limits about the share of all benches together, at 99.8 % (funnel plot, Spiegelhalter 2005); at the edge: outside those at 95 %. By chance alone about one figure in twenty lies at the edge, one in five hundred beyond. Other cases, sizes and resins at a bench make a difference, too: it does not tell a cause, and no bench is better or worse for it."
	funnelW    = 40 // columns of a row of the plot
)

// compareBenches puts the shares of several benches together.
func compareBenches(all []AtBench) []together {
	var out []together
	add := func(name string, of func(Review) stats.Share) {
		t := together{Name: name, Benches: []beside{}}
		k, n := 0, 0
		for _, b := range all {
			if s := of(b.Review); b.Err == "" {
				k, n = k+s.Count, n+s.N
			}
		}
		if n == 0 {
			return
		}
		t.All = share(k, n)
		for _, b := range all {
			s := of(b.Review)
			if b.Err != "" || s.N == 0 {
				continue
			}
			l, err := stats.Funnel(s.N, t.All.Value)
			if err != nil {
				continue // it has a number and a share
			}
			t.Benches = append(t.Benches, beside{b.Bench, s, l, l.Beyond(s.Count)})
		}
		out = append(out, t)
	}
	add("any defect", func(r Review) stats.Share { return r.AnyDefect })
	for i, name := range action.Outcomes {
		add("outcome: "+name, func(r Review) stats.Share { return nth(r.Outcomes, i) })
	}
	for i, name := range action.Defects {
		add("defect: "+name, func(r Review) stats.Share { return nth(r.Defects, i) })
	}
	add("final closure inside the dough's working time (estimate)", func(r Review) stats.Share { return r.Dough.Inside })
	return slices.DeleteFunc(out, func(t together) bool { return t.All.Count == 0 })
}

func nth(named []named, i int) stats.Share {
	if i < len(named) {
		return named[i].Share
	}
	return stats.Share{}
}

// beyondWords say how a share lies.
func (b beside) beyondWords() string {
	switch b.Beyond {
	case stats.FunnelOuter:
		return "BEYOND CHANCE"
	case stats.FunnelInner:
		return "at the edge"
	}
	return ""
}

// TextOf writes the reviews of several benches: what they have together and what differs, then
// each.
func TextOf(w io.Writer, all []AtBench) error {
	p := &page{}
	p.WriteString("REVIEW OF " + strings.ToUpper(benches(len(all))) + "\n\n")
	var read []AtBench
	for _, b := range all {
		switch {
		case b.Err != "":
			p.say("NOT READ: %s: %s", b.Bench, b.Err)
			continue
		case len(b.Lacks) > 0:
			p.say("NOT WHOLE: %s: the mirror lacks records of it, so that figures may be wrong: %s", b.Bench, b.Lacks[0])
		}
		read = append(read, b)
	}
	rows := [][]string{{"", "opened", "closed", "ended", "corrected records"}}
	sum := [4]int{}
	for _, b := range read {
		r := b.Review
		n := [4]int{r.Opened, r.Closed, r.Ended, r.Corrections.Corrected + r.Corrections.TakenBack}
		row := []string{b.Bench}
		for i, v := range n {
			sum[i] += v
			row = append(row, strconv.Itoa(v))
		}
		rows = append(rows, row)
	}
	rows = append(rows, []string{"together", strconv.Itoa(sum[0]), strconv.Itoa(sum[1]), strconv.Itoa(sum[2]), strconv.Itoa(sum[3])})
	p.table(rows, 0)
	together := compareBenches(all)
	if len(together) > 0 {
		p.WriteString("\n")
		p.say("%s", noteShares)
		p.say("%s", notePeople)
		p.say("%s", noteFunnel)
	}
	for _, t := range together {
		t.text(p)
	}
	if _, err := w.Write(p.Bytes()); err != nil {
		return fmt.Errorf("write review: %w", err)
	}
	for _, b := range read {
		if _, err := fmt.Fprintf(w, "\n\n%s\n\n", strings.ToUpper(b.Bench)); err != nil {
			return fmt.Errorf("write review: %w", err)
		}
		if err := b.Review.Text(w); err != nil {
			return err
		}
	}
	return nil
}

func benches(n int) string {
	if n == 1 {
		return "1 bench"
	}
	return fmt.Sprintf("%d benches", n)
}

// text writes a share of all benches: a row each, and its place between the limits.
func (t together) text(p *page) {
	p.section(strings.ToUpper(t.Name))
	p.say("together %s, %s", ofWords(t.All), rateWords(t.All))
	most := t.All.Value
	for _, b := range t.Benches {
		most = max(most, b.Share.Value, float64(b.Limits.OuterHigh)/float64(b.Limits.N))
	}
	rows := [][]string{{"", "", "share", "", "", ""}}
	for _, b := range t.Benches {
		rows = append(rows, []string{b.Bench, ofWords(b.Share), rateWords(b.Share), b.bar(most), b.beyondWords(), small(b.Share.N)})
	}
	p.table(rows[1:], 0, 3, 4, 5)
	p.say("%s", "| together, = within 95 %, - within 99.8 %, o the bench; from 0 to "+percent(most)+" %")
}

// bar is one row of the funnel plot, lying on its side: the limits of chance about the share of
// all, and where the bench lies.
func (b beside) bar(most float64) string {
	row := []byte(strings.Repeat(" ", funnelW))
	at := func(v float64) int {
		if most == 0 {
			return 0
		}
		return min(funnelW-1, int(v/most*(funnelW-1)+0.5))
	}
	n := float64(b.Limits.N)
	fill := func(low, high int, c byte) {
		for i := at(float64(low) / n); i <= at(float64(high)/n); i++ {
			row[i] = c
		}
	}
	fill(b.Limits.OuterLow, b.Limits.OuterHigh, '-')
	fill(b.Limits.InnerLow, b.Limits.InnerHigh, '=')
	row[at(b.Limits.Share)] = '|'
	row[at(b.Share.Value)] = 'o'
	return string(row)
}

// CSVOf writes the shares of several benches, a row for each bench and figure; the bench ""
// is all of them together.
func CSVOf(w io.Writer, all []AtBench) error {
	rows := [][]string{{"figure", "bench", "count", "n", "value", "low", "high", "limit_95_low", "limit_95_high", "limit_998_low", "limit_998_high", "beyond"}}
	for _, t := range compareBenches(all) {
		rows = append(rows, []string{t.Name, "", strconv.Itoa(t.All.Count), strconv.Itoa(t.All.N), num(t.All.Value), num(t.All.Low), num(t.All.High), "", "", "", "", ""})
		for _, b := range t.Benches {
			beyond := ""
			if b.Beyond > 0 {
				beyond = num(b.Beyond)
			}
			rows = append(rows, []string{t.Name, tables.Defuse(b.Bench), strconv.Itoa(b.Share.Count), strconv.Itoa(b.Share.N), num(b.Share.Value), num(b.Share.Low), num(b.Share.High),
				strconv.Itoa(b.Limits.InnerLow), strconv.Itoa(b.Limits.InnerHigh), strconv.Itoa(b.Limits.OuterLow), strconv.Itoa(b.Limits.OuterHigh), beyond})
		}
	}
	if err := tables.Write(w, rows); err != nil {
		return fmt.Errorf("write the review: %w", err)
	}
	return nil
}

// JSONOf writes them for other programs, each and together.
func JSONOf(w io.Writer, all []AtBench) error {
	return tables.JSON(w, struct {
		Benches  []AtBench  `json:"benches"`
		Together []together `json:"together"`
	}{all, compareBenches(all)})
}

// Unread tells how many of them could not be read, or not whole.
func Unread(all []AtBench) int {
	return each.Count(all, func(b AtBench) bool { return b.Err != "" || len(b.Lacks) > 0 })
}
