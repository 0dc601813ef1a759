package logbook

import (
	"testing"
	"time"
)

// costOf is not known here.
func costOf(*testing.B) time.Duration { return 0 }
