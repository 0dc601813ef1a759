package flash

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// descend walks z down to a minimum of a smooth cost, given its slope, by the BFGS method
// with a step halved until it pays (Nocedal and Wright, Numerical Optimization, chapters 3
// and 6; from memory). z should be scaled so that the curvature is of order 1 or more. It
// stops where no slope is above tol, or after most steps, and never ends higher than it
// began. (The library's own optimiser would bring a further module for this one use.)
func descend(cost func(z []float64) float64, slope func(grad, z []float64), z []float64, tol float64, most int) {
	n := len(z)
	inverse := make([][]float64, n) // of the curvature, as far as it is known
	for i := range inverse {
		inverse[i] = make([]float64, n)
		inverse[i][i] = 1
	}
	grad, next := make([]float64, n), make([]float64, n)
	step, turn, bent := make([]float64, n), make([]float64, n), make([]float64, n)
	at := cost(z)
	slope(grad, z)
	trial := make([]float64, n)
	for range most {
		if floats.Norm(grad, math.Inf(1)) <= tol {
			return
		}
		for i := range step {
			step[i] = -floats.Dot(inverse[i], grad)
		}
		// No step goes further than 1 in any direction: the scale of the pull.
		if far := floats.Norm(step, math.Inf(1)); far > 1 {
			floats.Scale(1/far, step)
		}
		fall := floats.Dot(step, grad)
		var reached float64
		paid := false
		for range 30 {
			floats.AddTo(trial, z, step)
			if reached = cost(trial); reached <= at+1e-4*fall {
				paid = true
				break
			}
			floats.Scale(0.5, step)
			fall /= 2
		}
		if !paid {
			return
		}
		copy(z, trial)
		at = reached
		slope(next, z)
		floats.SubTo(turn, next, grad)
		copy(grad, next)
		along := floats.Dot(step, turn)
		if along <= 1e-12 {
			continue
		}
		for i := range bent {
			bent[i] = floats.Dot(inverse[i], turn)
		}
		scale := (1 + floats.Dot(turn, bent)/along) / along
		for i := range inverse {
			for j := range inverse[i] {
				inverse[i][j] += scale*step[i]*step[j] - (bent[i]*step[j]+step[i]*bent[j])/along
			}
		}
	}
}
