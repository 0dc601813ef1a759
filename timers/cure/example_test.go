package cure_test

import (
	"fmt"

	"flaskside/timers/cure"
)

// What a programme is likely to do to a base, thinnest 2 mm and thickest 9 mm: an
// estimate, with its width. The resin maker's cycle comes first.
func ExampleRun() {
	programme, err := cure.ParseProgramme("74C 2h, ramp 30min, 100C 1h")
	if err != nil {
		fmt.Println(err)
		return
	}
	thin, err := cure.ForSection(2, "medium")
	if err != nil {
		fmt.Println(err)
		return
	}
	thick, err := cure.ForSection(9, "medium")
	if err != nil {
		fmt.Println(err)
		return
	}
	e, err := cure.Run(thin, thick, programme.Knots(22), cure.RunOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(programme)
	fmt.Println(e.Range.PeakText)
	// Output:
	// 74C 2h, ramp 30min, 100C 1h
	// core peak 86 to 114 °C, about 100 °C
}
