package plan

import (
	"context"
	"errors"
	"testing"
)

// BenchmarkFirst is a plan shown at once, from the question on; -benchtime 20x and time(1) tell what it costs.
func BenchmarkFirst(b *testing.B) {
	h, cases := ownHouse(), twelve()
	for b.Loop() {
		ctx, stop := context.WithCancel(context.Background())
		_, err := Make(ctx, h, cases, SearchOptions{First: func(Made) { stop() }})
		if stop(); err != nil && !errors.Is(err, context.Canceled) {
			b.Fatal(err)
		}
	}
}
