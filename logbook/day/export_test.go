package day

// For tests from outside the package.
var (
	ErrNothingToCome = errNothingToCome
	TrailOf          = trailOf
)
