package press_test

import (
	"fmt"
	"time"

	"flaskside/timers/press"
)

// Three flasks of which one press and one pair of hands can bring two in time.
func ExampleAdvise() {
	jobs := []press.Job{
		{ID: "4417 upper", Due: 14 * time.Minute, More: []float64{0, 0.5, 0.5}},
		{ID: "4417 lower", Due: 14 * time.Minute, Ready: true},
		{ID: "4420 upper", Due: 14 * time.Minute, More: []float64{0, 0.2, 0.4, 0.4}},
	}
	work := press.Durations{Raise: 42 * time.Second, Hold: time.Minute, Open: 18 * time.Second, Trim: 90 * time.Second, Final: 2 * time.Minute}
	advice, err := press.Advise(jobs, work, press.Capacity{Presses: 1, Hands: 1}, press.AdviceOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("next:", advice.Next.Verb, advice.Next.Flask)
	for _, f := range advice.Flasks {
		fmt.Printf("%s: in time about %.0f %%\n", f.Flask, 100*f.Chance)
	}
	fmt.Println("give up:", advice.GiveUp)
	// Output:
	// next: final closure 4417 lower
	// 4417 upper: in time about 50 %
	// 4417 lower: in time about 100 %
	// 4420 upper: in time about 0 %
	// give up: 4420 upper
}
