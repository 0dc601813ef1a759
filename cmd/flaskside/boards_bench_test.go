//go:build linux

package main

import (
	"bufio"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/door"
)

// BenchmarkBoards tells what boards on the wall cost the program that has the book: of a core
// while nothing is recorded, memory, and from a record until the last board has it.
func BenchmarkBoards(b *testing.B) {
	for _, n := range []int{0, 1, 50, 200} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchBoards(b, n) })
	}
}

func benchBoards(b *testing.B, n int) {
	book := filepath.Join(b.TempDir(), "bench.db")
	if out, err := answers(b, "", "board", "--book", book, "--new"); err != nil {
		b.Fatal(out)
	}
	k, line := hanging(b, book, "127.0.0.1:0")
	_, at, _ := strings.Cut(line, "http://")
	at, _, _ = strings.Cut(at, "/")
	out, err := answers(b, "", "board", "--book", book, "--at", at)
	if err != nil {
		b.Fatal(out)
	}
	url := strings.TrimSpace(out)
	client, err := door.Dial(book)
	if err != nil {
		b.Fatal(err)
	}
	rec := func(ago time.Duration, body action.Body) {
		if _, err := client.Append([]action.Action{{ID: newID(), At: time.Now().Add(-ago), By: "LL", Body: body, Why: "8"}}, false); err != nil {
			b.Fatal(err)
		}
	}
	for p := 1; p <= 9; p++ {
		rec(50*time.Minute, action.FlaskOpen{Place: p, Case: fmt.Sprint(4400 + p), Base: "upper", Size: "medium"})
		rec(45*time.Minute, action.Coat{Flask: p, Half: "both"})
	}
	rec(30*time.Minute, action.MixMake{Flasks: []int{1, 2, 3}, PowderG: 67, LiquidG: 28, DoughS: 600, WorkS: 3600})
	rec(20*time.Minute, action.BathLoad{Flasks: []int{8, 9}, Programme: "long, 9 h"})
	_, alone := used(b, k.cmd.Process.Pid)
	heard := make(chan string, 10*n+10)
	for range n {
		go listener(url, heard)
	}
	time.Sleep(12 * time.Second) // all have asked anew once
	const idle = 30 * time.Second
	cpu0, _ := used(b, k.cmd.Process.Pid)
	time.Sleep(idle)
	cpu1, mb := used(b, k.cmd.Process.Pid)
	b.ReportMetric(100*(cpu1-cpu0)/idle.Seconds(), "%core")
	b.ReportMetric(mb-alone, "MB-for-all")
	if n > 0 {
		var took []time.Duration
		for i := range 10 {
			label := fmt.Sprintf("label %d", i)
			began := time.Now()
			rec(0, action.TimerStart{Label: label, Count: "down", AimS: 600 - i})
			for range n {
				for s := range heard {
					if s == label {
						break
					}
				}
			}
			took = append(took, time.Since(began))
		}
		slices.Sort(took)
		b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "ms-record-on-last")
		b.ReportMetric(float64(took[len(took)-1].Microseconds())/1000, "ms-at-most")
	}
	for range b.N { // what is measured is above
	}
	b.ReportMetric(0, "ns/op")
}

// listener is a board that listens as the page does, and tells of the labels that it hears.
func listener(url string, heard chan<- string) {
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 1}}
	have := ""
	told := map[string]bool{}
	for {
		resp, err := client.Get(url + "news?have=" + have) //nolint:noctx // the board of this benchmark
		if err != nil {
			return // the bench has ended
		}
		in := bufio.NewScanner(resp.Body)
		in.Buffer(nil, 1<<20)
		for in.Scan() {
			if id, ok := strings.CutPrefix(in.Text(), "id: "); ok {
				have = id
			}
			for i := range 10 {
				if label := fmt.Sprintf("label %d", i); !told[label] && strings.Contains(in.Text(), label) {
					told[label] = true
					heard <- label
				}
			}
		}
		_ = resp.Body.Close()
	}
}
