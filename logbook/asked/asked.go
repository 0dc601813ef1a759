// Package asked tells a question that is put wrongly from one that has no answer: of the first
// the person types it anew, of the second the world has to be another.
package asked

import "fmt"

// Wrong is what is wrong with a question as it was typed.
type Wrong struct{ Err error }

// Error says what is wrong and what would be right.
func (w Wrong) Error() string { return w.Err.Error() }

// Unwrap gives the error within.
func (w Wrong) Unwrap() error { return w.Err }

// Wrongly says what is wrong with a question, as [fmt.Errorf] does.
func Wrongly(format string, a ...any) error { return Wrong{fmt.Errorf(format, a...)} }
