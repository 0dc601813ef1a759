package logbook

import (
	"encoding/json"
	"fmt"
	"os"
	"testing"
	"time"

	"flaskside/logbook/action"
)

// a finished flask whose mix still serves another is no flask at work
func TestBookPhantom(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	h.do(0, action.FlaskOpen{Place: 2, Case: "2", Base: "upper", Size: "small"})
	h.do(0, action.MixMake{Flasks: []int{1, 2}})
	h.do(minute, action.Outcome{Flask: 1, Outcome: "remake"})
	for i := range 40 {
		h.do(minute, action.Note{Flask: 2, Text: fmt.Sprint(i)})
	}
	if _, err := h.try(minute, action.Inspect{Flask: 1}, "8"); err == nil {
		t.Error("flask 1 is finished, and was inspected")
	}
	h.do(minute, action.Outcome{Flask: 2, Outcome: "remake"})
	h.do(0, action.FlaskOpen{Place: 2, Case: "3", Base: "upper", Size: "small"})
	for i := range 40 {
		h.do(24*time.Hour, action.Note{Flask: 3, Text: fmt.Sprint(i)})
	}
	for _, it := range h.b.State().Bench.Items {
		if it.Action.Kind() == "mix" {
			t.Error("the mix of two finished flasks is alive after 40 days")
		}
	}
}

// an outcome taken back after 30 further records brings the flask back as it was
func TestBookTakeBackOutcome(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	h.do(0, action.FlaskOpen{Place: 2, Case: "2", Base: "upper", Size: "small"})
	for i := range 40 {
		h.do(minute, action.Note{Flask: 2, Text: fmt.Sprint(i)})
	}
	h.do(minute, action.Outcome{Flask: 1, Outcome: "remake"})
	id := fmt.Sprintf("a%04d", h.n)
	h.do(minute, action.TakeBack{Of: id}, "6")
	if f := h.b.State().Bench.Flasks[1]; h.b.State().Bench.Places[1] != 1 || f.Case != "1" {
		t.Errorf("place 1 holds flask %d; flask 1 is %+v", h.b.State().Bench.Places[1], f)
	}
}

// a reading and settings corrected or taken back on the next day
func TestBookNextDay(t *testing.T) {
	h := newHands(t)
	h.do(0, action.BathReading{Bath: 1, TempC: 74})
	read := fmt.Sprintf("a%04d", h.n)
	hs := h.b.State().Bench.House
	hs.Lab = "other"
	h.do(0, action.Settings{House: hs})
	set := fmt.Sprintf("a%04d", h.n)
	h.do(24*time.Hour, action.Correct{Of: read, Set: json.RawMessage(`{"temp_c":70}`)}, "7")
	h.do(0, action.TakeBack{Of: set}, "6")
	b, err := h.b.Whole(start, start.Add(12*time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if b.Readings[0].TempC != 70 {
		t.Errorf("the reading counts as %g", b.Readings[0].TempC)
	}
	if b.House.Lab != "" {
		t.Errorf("the settings taken back count: %q", b.House.Lab)
	}
	then, err := h.b.AsOf(h.ck.Read().Wall.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if then.House.Lab != "" {
		t.Errorf("as of now the settings taken back count: %q", then.House.Lab)
	}
}

func TestBookMissing(t *testing.T) {
	for _, s := range []string{
		`{"id":"1","at":"2026-11-25T08:00:00Z","act":"remount","body":{"flask":1}}`,
		`{"id":"1","at":"2026-11-25T08:00:00Z","act":"bath-reading","body":{"bath":1}}`,
	} {
		if a, err := action.Decode([]byte(s)); err == nil {
			t.Errorf("%s is taken as %+v", s, a.Body)
		}
	}
}

// a refused action leaves the bytes of the book alone
func TestBookBytes(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	path := h.b.Path()
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	was, _ := os.ReadFile(path)
	h.ck.Run(time.Hour)
	b, err := Open(path, h.ck)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Append(action.Action{ID: "x", At: h.ck.Read().Wall, Body: action.Inspect{Flask: 9}}); err == nil {
		t.Fatal("taken")
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	is, _ := os.ReadFile(path)
	if string(was) != string(is) {
		t.Error("the file was changed")
	}
}
