package recall_test

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/lot"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/record"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
	"flaskside/timers/simclock"
)

var (
	zone  = time.FixedZone("", 3600)
	start = time.Date(2026, 11, 25, 8, 0, 0, 0, zone)
)

const year = 2026

// hands work at a book of their own.
type hands struct {
	book *logbook.Book
	ck   *simclock.Hand
	n    int
}

func newHands(t interface{ Fatal(...any) }, dir string) *hands {
	ck := simclock.At(start, "boot-1")
	b, err := logbook.Open(filepath.Join(dir, "bench.db"), ck)
	if err != nil {
		t.Fatal(err)
	}
	return &hands{book: b, ck: ck}
}

// try records an act a minute later and gives its id.
func (h *hands) try(body action.Body) (string, error) {
	h.ck.Run(time.Minute)
	h.n++
	id := fmt.Sprintf("a%04d", h.n)
	_, err := h.book.Append(action.Action{ID: id, At: h.ck.Read().Wall, By: "KT", Body: body, Why: "invented shift"})
	return id, err
}

func (h *hands) do(t *testing.T, body action.Body) string {
	t.Helper()
	id, err := h.try(body)
	if err != nil {
		t.Fatalf("%s: %v", body.Kind(), err)
	}
	return id
}

func find(t interface{ Fatalf(string, ...any) }, h *hands, text string) recall.List {
	asked, err := lot.Parse(text, year)
	if err != nil {
		t.Fatalf("%v", err)
	}
	l, err := recall.Find(h.book, asked, year, zone)
	if err != nil {
		t.Fatalf("%v", err)
	}
	if _, benchmark := t.(*testing.B); benchmark {
		return l
	}
	// By the texts of the records alone the same is found.
	q, seqs := recall.Ask(asked, year), []uint64(nil)
	if err := h.book.Each(1, func(r record.Record) (bool, error) {
		if slices.ContainsFunc(recall.Texts(r.Action.Body), q.Means) {
			seqs = append(seqs, r.Seq)
		}
		return true, nil
	}); err != nil {
		t.Fatalf("%v", err)
	}
	at, err := q.At(h.book, seqs, zone)
	if err != nil || !reflect.DeepEqual(at, l) {
		t.Fatalf("of all records: %+v, of those named: %+v, %v", l, at, err)
	}
	return l
}

// told is a list in short: flask, what, record, and ? and * for alike and corrected.
func told(l recall.List) string {
	var out []string
	for _, u := range l.Uses {
		s := fmt.Sprintf("%d %s %d", u.Flask, u.What, u.Record)
		if u.Match == lot.Alike {
			s += "?"
		}
		if u.Corrected {
			s += "*"
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ")
}

// shift is a bench with the ways a lot gets to a flask. Records are numbered from 1.
func shift(t *testing.T) *hands {
	h := newHands(t, t.TempDir())
	t.Cleanup(func() { _ = h.book.Close() })
	for i, c := range []string{"4417", "4418", "=4419", "4420"} {
		h.do(t, action.FlaskOpen{Place: i + 1, Case: c, Base: "upper", Size: "medium"}) // 1 to 4
	}
	h.do(t, action.Coat{Flask: 1, Half: "both", Lot: "S-7"})                                                   // 5
	h.do(t, action.Coat{Flask: 2, Half: "cast", Lot: "S-7"})                                                   // 6
	h.do(t, action.Coat{Flask: 2, Half: "teeth", Lot: "S-8"})                                                  // 7
	h.do(t, action.Coat{Flask: 3, Half: "both", Lot: "S-8"})                                                   // 8
	h.do(t, action.Coat{Flask: 4, Half: "both"})                                                               // 9
	h.ck.Run(15 * time.Minute)                                                                                 //
	h.do(t, action.MixMake{Flasks: []int{1, 2}, PowderLot: "(01)03453120000011(10)P-118", LiquidLot: "L-072"}) // 10
	h.do(t, action.MixServe{Mix: 1, Flasks: []int{3}})                                                         // 11
	h.do(t, action.MixStiff{Mix: 1})                                                                           // 12
	h.do(t, action.MixMake{Flasks: []int{1, 4}, PowderLot: "p 118", LiquidLot: "L-073"})                       // 13
	wrong := h.do(t, action.MixMake{Flasks: []int{2}, PowderLot: "P-119", LiquidLot: "L-073"})                 // 14
	back := h.do(t, action.MixMake{Flasks: []int{3}, PowderLot: "P-118", LiquidLot: "L-099"})                  // 15
	h.do(t, action.Correct{Of: wrong, Set: json.RawMessage(`{"powder_lot":"P-118"}`)})                         // 16
	h.do(t, action.TakeBack{Of: back})                                                                         // 17
	return h
}

func TestFind(t *testing.T) {
	h := shift(t)
	for _, c := range []struct{ text, want, once string }{
		// Flask 1 was given mix 1 first and another one later: it counts for both.
		// Flask 3 was served mix 1, flask 2 has a corrected lot; the mix of record 15
		// was taken back; record 13 reads alike.
		{"P-118", "1 powder 10, 1 powder 13?, 2 powder 10, 2 powder 14*, 3 powder 10, 4 powder 13?", "[15]"},
		{"(01)03453120000011(17)281231(10)P-118", "1 powder 10, 1 powder 13?, 2 powder 10, 2 powder 14*, 3 powder 10, 4 powder 13?", "[15]"},
		// The same lot of another product is another lot, where the product is known.
		{"(01)04012345678901(10)P-118", "1 powder 13?, 2 powder 14*, 4 powder 13?", "[15]"},
		{"P-119", "", "[14]"}, // corrected
		{"L-072", "1 liquid 10, 2 liquid 10, 3 liquid 10", "[]"},
		{"L-073", "1 liquid 13, 2 liquid 14*, 4 liquid 13", "[]"},
		{"L-099", "", "[15]"},
		{"S-7", "1 separator 5, 2 separator 6", "[]"},
		{"S-8", "2 separator 7, 3 separator 8", "[]"},
		{"S-9", "", "[]"},
	} {
		got := find(t, h, c.text)
		if told(got) != c.want || fmt.Sprint(got.Once) != c.once {
			t.Errorf("%s: %s, once %v; want %s, once %s", c.text, told(got), got.Once, c.want, c.once)
		}
	}
}

// TestCorrected: a correction of the lot, of the time, and one taken back.
func TestCorrected(t *testing.T) {
	h := newHands(t, t.TempDir())
	defer func() { _ = h.book.Close() }()
	h.do(t, action.FlaskOpen{Place: 1, Case: "4417", Base: "lower", Size: "small"})
	coat := h.do(t, action.Coat{Flask: 1, Half: "both"})
	h.do(t, action.Correct{Of: coat, Set: json.RawMessage(`{"lot":"S-7"}`)})
	mix := h.do(t, action.MixMake{Flasks: []int{1}, PowderLot: "P-1182", LiquidLot: "L-072"})
	h.do(t, action.Correct{Of: mix, Set: json.RawMessage(`{"at":"2026-11-25T08:03:30+01:00"}`)})
	first := h.do(t, action.Correct{Of: mix, Set: json.RawMessage(`{"powder_lot":"P-2299"}`)})
	if got := told(find(t, h, "S-7")); got != "1 separator 2*" {
		t.Errorf("the coat with a lot added is %s", got)
	}
	l := find(t, h, "P-2299")
	if told(l) != "1 powder 4*" || l.Uses[0].At.Format(time.RFC3339) != "2026-11-25T08:03:30+01:00" {
		t.Errorf("the corrected mix is %s, %+v", told(l), l.Uses)
	}
	h.do(t, action.TakeBack{Of: first})
	if l := find(t, h, "P-2299"); told(l) != "" || len(l.Once) != 1 || l.Once[0] != 4 {
		t.Errorf("a correction taken back still gives %s, once %v", told(l), l.Once)
	}
	if got := told(find(t, h, "P-1182")); got != "1 powder 4*" {
		t.Errorf("a correction taken back leaves %s", got)
	}
}

func TestOutcome(t *testing.T) {
	h := newHands(t, t.TempDir())
	defer func() { _ = h.book.Close() }()
	h.do(t, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "large"})
	h.do(t, action.Coat{Flask: 1, Half: "both", Lot: "+A99912345/$$52001510X33"})
	if u := find(t, h, "10X3").Uses[0]; u.Outcome != "" || !u.EndedAt.IsZero() {
		t.Errorf("a flask at work has the outcome %q", u.Outcome)
	}
	h.do(t, action.Outcome{Flask: 1, Outcome: "remake", Defects: []string{"porosity"}})
	u := find(t, h, "10X3").Uses[0]
	want := recall.Use{Flask: 1, Case: "4417", Base: "upper", At: start.Add(2 * time.Minute), What: "separator", Lot: "+A99912345/$$710X3/14D20200115N", Match: lot.Same, Outcome: "remake", EndedAt: start.Add(3 * time.Minute), Record: 2}
	if !u.At.Equal(want.At) || !u.EndedAt.Equal(want.EndedAt) {
		t.Errorf("used %s, ended %s", u.At, u.EndedAt)
	}
	u.At, u.EndedAt = want.At, want.EndedAt
	if !reflect.DeepEqual(u, want) {
		t.Errorf("got %+v, want %+v", u, want)
	}
}

func TestCSV(t *testing.T) {
	h := shift(t)
	var b strings.Builder
	if err := find(t, h, "S-8").CSV(&b); err != nil {
		t.Fatal(err)
	}
	const want = "flask,case,base,day,at,what,lot,match,mix,outcome,ended_at,corrected,record\r\n" +
		"2,4418,upper,2026-11-25,2026-11-25T08:07:00+01:00,separator,S-8,same,,,,,7\r\n" +
		"3,'=4419,upper,2026-11-25,2026-11-25T08:08:00+01:00,separator,S-8,same,,,,,8\r\n" // a formula is made harmless
	if b.String() != want {
		t.Errorf("CSV is\n%swant\n%s", b.String(), want)
	}
	b.Reset()
	if err := find(t, h, "P-118").CSV(&b); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
	if err != nil || len(rows) != 7 || rows[4][8] != "3" || rows[4][11] != "yes" || rows[2][7] != "alike" {
		t.Errorf("CSV of P-118 is %v, %v", rows, err)
	}
}

func TestText(t *testing.T) {
	h := shift(t)
	for text, want := range map[string]string{
		"S-9": "lot S-9: no flask of this logbook\n",
		"P-118": `lot P-118: 4 flasks

flask  case   day         what    lot                          mix    outcome
1      4417   2026-11-25  powder  (01)03453120000011(10)P-118  A (1)  at work
1      4417   2026-11-25  powder  p 118 ?                      B (2)  at work
2      4418   2026-11-25  powder  (01)03453120000011(10)P-118  A (1)  at work
2      4418   2026-11-25  powder  P-118 *                      C (3)  at work
3      =4419  2026-11-25  powder  (01)03453120000011(10)P-118  A (1)  at work
4      4420   2026-11-25  powder  p 118 ?                      B (2)  at work

?  the text is alike, not the same: look whether it is this lot

*  the record was corrected

named it, and were corrected or taken back since: records 15
`,
	} {
		var b strings.Builder
		if err := find(t, h, text).Text(&b); err != nil || b.String() != want {
			t.Errorf("%s gives\n%s%v, want\n%s", text, b.String(), err, want)
		}
	}
}

func TestJSON(t *testing.T) {
	h := shift(t)
	var b strings.Builder
	if err := find(t, h, "S-9").JSON(&b); err != nil || !strings.Contains(b.String(), `"uses": []`) {
		t.Errorf("an empty list is %s, %v", b.String(), err)
	}
	b.Reset()
	if err := find(t, h, "S-8").JSON(&b); err != nil {
		t.Fatal(err)
	}
	var back recall.List
	if err := json.Unmarshal([]byte(b.String()), &back); err != nil || len(back.Uses) != 2 || back.Uses[1].Case != "=4419" {
		t.Errorf("it reads back as %+v, %v", back, err)
	}
}

// TestModel holds the list against a plain count of random acts.
func TestModel(t *testing.T) {
	type mix struct {
		flasks         []int
		powder, liquid string
		id             string
	}
	dir := t.TempDir()
	round := 0
	rapid.Check(t, func(t *rapid.T) {
		round++
		h := newHands(t, filepath.Join(dir, fmt.Sprint(round)))
		defer func() { _ = h.book.Close() }()
		lots := []string{"", "A-1", "B-2", "C-3"}
		any := rapid.SampledFrom(lots)
		var mixes []*mix
		var coats []*mix // a coat is a mix for one flask whose powder is the separator
		for i := range 4 {
			if _, err := h.try(action.FlaskOpen{Place: i + 1, Case: fmt.Sprint(i), Base: "upper", Size: "small"}); err != nil {
				t.Fatal(err)
			}
		}
		for range rapid.IntRange(1, 12).Draw(t, "acts") {
			flask := rapid.IntRange(1, 4).Draw(t, "flask")
			switch rapid.SampledFrom([]string{"coat", "mix", "serve", "correct", "back"}).Draw(t, "act") {
			case "coat":
				c := &mix{flasks: []int{flask}, powder: any.Draw(t, "lot")}
				if id, err := h.try(action.Coat{Flask: flask, Half: "both", Lot: c.powder}); err == nil {
					c.id = id
					coats = append(coats, c)
				}
			case "mix":
				m := &mix{flasks: []int{flask}, powder: any.Draw(t, "powder"), liquid: any.Draw(t, "liquid")}
				id, err := h.try(action.MixMake{Flasks: m.flasks, PowderLot: m.powder, LiquidLot: m.liquid})
				if err != nil {
					t.Fatal(err)
				}
				m.id = id
				mixes = append(mixes, m)
			case "serve":
				if len(mixes) == 0 {
					continue
				}
				no := rapid.IntRange(1, len(mixes)).Draw(t, "which")
				if _, err := h.try(action.MixServe{Mix: no, Flasks: []int{flask}}); err == nil && !slices.Contains(mixes[no-1].flasks, flask) {
					mixes[no-1].flasks = append(mixes[no-1].flasks, flask)
				}
			case "correct":
				if len(mixes) == 0 {
					continue
				}
				m := rapid.SampledFrom(mixes).Draw(t, "whose")
				text := any.Draw(t, "right")
				if _, err := h.try(action.Correct{Of: m.id, Set: json.RawMessage(fmt.Sprintf(`{"powder_lot":%q}`, text))}); err == nil {
					m.powder = text
				}
			case "back":
				if len(coats) == 0 {
					continue
				}
				c := coats[len(coats)-1]
				if _, err := h.try(action.TakeBack{Of: c.id}); err == nil {
					coats = coats[:len(coats)-1]
				}
			}
		}
		for _, text := range lots[1:] {
			var want []string
			count := func(ms []*mix, what string, of func(*mix) string) {
				for _, m := range ms {
					for _, f := range m.flasks {
						if of(m) == text {
							want = append(want, fmt.Sprint(f, " ", what))
						}
					}
				}
			}
			count(coats, "separator", func(m *mix) string { return m.powder })
			count(mixes, "powder", func(m *mix) string { return m.powder })
			count(mixes, "liquid", func(m *mix) string { return m.liquid })
			var got []string
			for _, u := range find(t, h, text).Uses {
				if u.Match != lot.Same {
					t.Fatalf("%s gives %+v", text, u)
				}
				got = append(got, fmt.Sprint(u.Flask, " ", u.What))
			}
			slices.Sort(want)
			slices.Sort(got)
			if !slices.Equal(got, want) {
				t.Fatalf("%s: got %v, want %v", text, got, want)
			}
		}
	})
}

// BenchmarkFind looks through a book of 1,000 flasks for a lot that ten of them had.
func BenchmarkFind(b *testing.B) {
	h := newHands(b, b.TempDir())
	defer func() { _ = h.book.Close() }()
	records := 0
	for no := 1; no <= 1000; no++ {
		lots := fmt.Sprintf("P-%04d", no/10)
		var as []action.Action
		for _, body := range []action.Body{
			action.FlaskOpen{Flask: no, Place: 1, Case: fmt.Sprint(no), Base: "upper", Size: "medium"},
			action.Coat{Flask: no, Half: "both"},
			action.MixMake{Flasks: []int{no}, PowderLot: lots, LiquidLot: "L-1"},
			action.PressIn{Flask: no}, action.PressAt{Flask: no}, action.PressOpen{Flask: no}, action.Flash{Flask: no, Grade: "none"},
			action.Outcome{Flask: no, Outcome: "finished here"},
		} {
			h.ck.Run(time.Minute)
			h.n++
			as = append(as, action.Action{ID: fmt.Sprint(h.n), At: h.ck.Read().Wall, Body: body, Why: "invented shift"})
		}
		if _, err := h.book.AppendAll(as); err != nil {
			b.Fatal(err)
		}
		records += len(as)
	}
	for b.Loop() {
		if got := len(find(b, h, "P-0042").Uses); got != 10 {
			b.Fatalf("%d uses", got)
		}
	}
	b.ReportMetric(float64(records)*float64(b.N)/b.Elapsed().Seconds(), "records/s")
}

// The stone of a mould and the sheet of its closures are found as powder is, also where a
// correction named the lot.
func TestStoneAndSheet(t *testing.T) {
	h := newHands(t, t.TempDir())
	defer func() { _ = h.book.Close() }() // a scratch book
	for place := range 2 {
		h.do(t, action.FlaskOpen{Place: place + 1, Case: "4417", Base: "upper", Size: "medium"})
	}
	h.do(t, action.LotIn{Material: "stone", Lot: "G-1"}) // no flask had it by that
	h.do(t, action.FlaskLots{Flask: 1, StoneLot: "G-1", SheetLot: "T-1"})
	id := h.do(t, action.FlaskLots{Flask: 2, SheetLot: "T-2"})
	h.do(t, action.Correct{Of: id, Set: json.RawMessage(`{"stone_lot":"G-1"}`)})
	for text, want := range map[string]string{"G-1": "1 stone 4, 2 stone 5*", "T-1": "1 sheet 4", "T-2": "2 sheet 5*"} {
		if got := told(find(t, h, text)); got != want {
			t.Errorf("%s: %q, want %q", text, got, want)
		}
	}
}
