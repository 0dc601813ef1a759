package logbook_test

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/timers/simclock"
)

// A flask is opened: one action, one record, on the disk when Append returns.
func ExampleBook_Append() {
	folder, err := os.MkdirTemp("", "bench")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer func() { _ = os.RemoveAll(folder) }()
	at := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	book, err := logbook.Open(filepath.Join(folder, "bench.db"), simclock.At(at, "boot-1"))
	if err != nil {
		fmt.Println(err)
		return
	}
	defer func() { _ = book.Close() }()
	_, err = book.Append(action.Action{ID: "1", At: at, By: "KT", Body: action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"}})
	if err != nil {
		fmt.Println(err)
		return
	}
	b := book.State().Bench
	fmt.Println(b.Flasks[1].Case+":", b.Flasks[1].Stage)
	// Output: 4417: separator to paint
}
