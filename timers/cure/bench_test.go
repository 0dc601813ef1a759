package cure

import (
	"math"
	"testing"
)

// fourteenHours is the 14 h cycle the speed aims are about: 74 °C, a ramp after 9 h, 100 °C to the end.
func fourteenHours() ([]Knot, RunOptions) {
	return []Knot{{0, 74}, {9 * 3600, 74}, {9.5 * 3600, 100}}, RunOptions{EndS: 14 * 3600}
}

// minuteReadings is a bath read every minute for 14 h: 841 knots of 74 °C with the swing and noise of a thermostat, far
// enough from straight that thinning could not help.
func minuteReadings() []Knot {
	out := make([]Knot, 0, 841)
	for i := range 841 {
		out = append(out, Knot{float64(i) * 60, 74 + 0.3*math.Sin(float64(i)*0.9) + 0.1*math.Sin(float64(i)*2.7)})
	}
	return out
}

func BenchmarkFourteenHours(b *testing.B) {
	bath, o := fourteenHours()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Simulate(Defaults(), bath, o); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMinuteReadings(b *testing.B) {
	bath := minuteReadings()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Simulate(Defaults(), bath, RunOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
