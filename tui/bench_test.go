package tui

import (
	"fmt"
	"testing"
	"time"
)

// openFlask opens a flask on a place with the pad alone.
func (d *desk) openFlask(place int, caseNo string, base, size int) {
	d.t.Helper()
	d.press(fmt.Sprintf("%d enter %s enter %d %d", place, caseNo, base, size))
}

func TestLook(t *testing.T) {
	d := newDesk(t, 80, 24)
	fmt.Println(d.screen())
	d.openFlask(1, "4417", 1, 2)
	fmt.Println(d.screen())
	d.press("enter 1")
	d.openFlask(2, "4420", 2, 3)
	d.press("enter 1")
	fmt.Println(d.screen())
	d.wait(12 * time.Minute)
	d.press("1 enter")
	fmt.Println(d.screen())
	d.press("1")
	fmt.Println(d.screen())
	d.press("enter enter enter enter . 0 enter enter")
	fmt.Println(d.screen())
	d.press("enter")
	fmt.Println(d.screen())
	d.wait(10 * time.Minute)
	d.press("enter")
	fmt.Println(d.screen())
	d.press("enter 1 enter")
	fmt.Println(d.screen())
	d.wait(61 * time.Second)
	fmt.Println(d.screen())
	d.press("enter 3")
	fmt.Println(d.screen())
	d.press("-")
	fmt.Println(d.screen())
	d.press("0 *")
	fmt.Println(d.screen())
}
