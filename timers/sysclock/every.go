package sysclock

import (
	"context"
	"time"
)

// Every does something each so long, until ctx ends.
func Every(ctx context.Context, d time.Duration, do func()) {
	tick := time.NewTicker(d)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		do()
	}
}
