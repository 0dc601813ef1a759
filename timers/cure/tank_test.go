package cure

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"
)

// Cold flasks in a bath at 74 °C: bound, dip and recovery as worked out once with an independent implementation (implicit
// Euler on a coarser grid, so the dip may differ by a tenth of a kelvin).
func TestColdFlasks(t *testing.T) {
	for _, row := range []struct {
		litres         float64
		flasks         int
		heaterW        float64
		bound, dip, at float64
		back           float64 // min within 1 K again; 0 = never outside
	}{
		{5, 4, 500, 12.8, 2.9, 4, 13},
		{5, 4, 1000, 12.8, 1.2, 1, 1},
		{10, 2, 500, 4.2, 0.5, 1, 0},
		{10, 4, 500, 7.8, 1.7, 4, 11},
		{10, 4, 1000, 7.8, 0.7, 1, 0},
		{20, 4, 500, 4.4, 0.9, 4, 0},
	} {
		tank := DefaultTank(74)
		tank.Litres, tank.HeaterW = row.litres, row.heaterW
		d, err := tank.AddFlasks(Defaults(), row.flasks, FlaskJPerK)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mixing bound", d.BoundK, row.bound, 0.06)
		near(t, "dip", d.DepthK, row.dip, 0.12)
		near(t, "lowest after", d.LowestMin, row.at, 0.8)
		near(t, "back after", d.BackMin, row.back, 0.8)
		near(t, "heat", d.HeatKJ, 104*float64(row.flasks), 1e-9)
		if !d.Back || !d.HeaterOK {
			t.Errorf("%+v: not back", row)
		}
		if d.DepthK > d.BoundK {
			t.Errorf("%+v: dip %.2f K is deeper than the bound", row, d.DepthK)
		}
		near(t, "curve's depth", 74-lowest(d.Curve), d.DepthK, 0.03)
		if err := CheckBath(d.Curve); err != nil {
			t.Error(err)
		}

		// Those already in lose some minutes at most, and never gain.
		for _, after := range []time.Duration{20 * time.Minute, time.Hour, 2 * time.Hour} {
			x, err := d.setBack(Defaults(), Common()[0], after)
			if err != nil {
				t.Fatal(err)
			}
			if !x.Reached || x.Minutes < 0 || x.Minutes > 5 {
				t.Errorf("%+v: those already in lose %.1f min", row, x.Minutes)
			}
			if row.dip > 1.5 && x.Minutes < 1 {
				t.Errorf("%+v: a dip of %.1f K costs only %.1f min", row, row.dip, x.Minutes)
			}
		}
	}
}

func lowest(bath []Knot) float64 {
	low := math.Inf(1)
	for _, k := range bath {
		low = math.Min(low, k.TempC)
	}
	return low
}

// Heat in equals heat out: without heater and losses, and with flasks of little side path, the bath ends at the mixing
// bound (to what the delayed side path cannot account for).
func TestMixing(t *testing.T) {
	tank := Tank{Litres: 10, MetalJPK: 4000, SetC: 74, RoomC: 22, SwingK: 0.5}
	p := Defaults()
	p.Lx, p.Ly = 0, 0
	d, err := tank.AddFlasks(p, 4, FlaskJPerK)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "dip without heater", d.DepthK, d.BoundK, 1e-3)
	if d.HeaterOK || d.Back {
		t.Errorf("a bath without heater came back: %+v", d)
	}
	x, err := d.setBack(Defaults(), Common()[0], time.Hour)
	if err != nil || x.Minutes < 60 {
		t.Errorf("a bath that never comes back costs %.1f min, %v", x.Minutes, err)
	}
}

func TestColdFlasksRefuses(t *testing.T) {
	good := DefaultTank(74)
	for what, tank := range map[string]Tank{
		"no water":    {Litres: 0, HeaterW: 1000, SetC: 74, SwingK: 0.5},
		"400 °C":      {Litres: 10, HeaterW: 1000, SetC: 400, SwingK: 0.5},
		"NaN heater":  {Litres: 10, HeaterW: math.NaN(), SetC: 74, SwingK: 0.5},
		"no swing":    {Litres: 10, HeaterW: 1000, SetC: 74},
		"cold bath":   DefaultTank(20),
		"loss < 0":    {Litres: 10, HeaterW: 1000, LossWPerK: -1, SetC: 74, SwingK: 0.5},
		"infinite":    {Litres: math.Inf(1), HeaterW: 1000, SetC: 74, SwingK: 0.5},
		"Arctic room": {Litres: 10, HeaterW: 1000, SetC: 74, RoomC: -100, SwingK: 0.5},
	} {
		if _, err := tank.AddFlasks(Defaults(), 1, FlaskJPerK); err == nil {
			t.Errorf("%s was taken", what)
		}
	}
	for _, n := range []int{0, -1, 101} {
		if _, err := good.AddFlasks(Defaults(), n, FlaskJPerK); err == nil {
			t.Errorf("%d flasks were taken", n)
		}
	}
	for _, c := range []float64{0, math.NaN(), 1e9} {
		if _, err := good.AddFlasks(Defaults(), 1, c); err == nil {
			t.Errorf("a flask of %g J/K was taken", c)
		}
	}
	d, err := good.AddFlasks(Defaults(), 1, FlaskJPerK)
	if err != nil {
		t.Fatal(err)
	}
	for _, after := range []time.Duration{-time.Second, 10 * time.Hour} {
		if _, err := d.setBack(Defaults(), Common()[0], after); err == nil {
			t.Errorf("flasks added after %s were taken", after)
		}
	}
	if _, err := (Dip{}).setBack(Defaults(), Common()[0], 0); err == nil {
		t.Error("a dip of nothing was taken")
	}
}

// setBack is how far the dip sets back a flask that is in the bath already, when the cold ones go in addAt after its own
// start: at the end of the stage they come into. The cold ones need their own full programme from their own start.
func (d Dip) setBack(p Params, prog Programme, addAt time.Duration) (Extra, error) {
	const startC = 22
	if err := prog.Validate(); err != nil {
		return Extra{}, err
	}
	if addAt < 0 || addAt > prog.Total() {
		return Extra{}, fmt.Errorf("cold flasks after %s: it must be within the programme, 0 to %s", formatDuration(addAt), formatDuration(prog.Total()))
	}
	if len(d.Curve) == 0 {
		return Extra{}, errors.New("the dip has no curve: compute it with AddFlasks")
	}
	set := prog.Knots(startC)
	bath := d.Lower(set, addAt.Seconds(), set[len(set)-1].TimeS)
	stage, _, _ := prog.Hold(addAt)
	return extraHold(p, prog, startC, bath, stage)
}
