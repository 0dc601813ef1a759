package flash_test

import (
	"fmt"

	"flaskside/logbook/flash"
)

func ExampleFit() {
	trials, err := flash.ParseTrials("heavy:7.2,heavy,slight")
	if err != nil {
		fmt.Println(err)
		return
	}
	p, err := flash.Fit(flash.HouseDefaults(), flash.History{Size: flash.Medium, Trials: trials})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("estimate: next at most slight %.0f %%, closures likely %d (80 %%: %d); you decide\n",
		100*(1-p.Next.Heavy), p.MoreMedian, p.More80)
	// Output: estimate: next at most slight 99 %, closures likely 1 (80 %: 1); you decide
}
