//go:build !linux && !darwin && !windows

package sysclock

import "time"

func bootID() string                    { return "" }
func sinceBoot() (time.Duration, error) { return 0, nil }
func source() string                    { return "none" }
