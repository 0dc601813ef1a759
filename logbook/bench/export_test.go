package bench

import "flaskside/timers"

// Signals are what can sound at a moment, whatever was answered.
func (b *Bench) Signals(now timers.Now) []timers.Signal { return b.signals(now) }
