//go:build unix && !linux

package jetstream

import (
	"testing"
	"time"
)

func slowDisk(_ *testing.T, dir string) (string, func(time.Duration)) { return dir, nil }
