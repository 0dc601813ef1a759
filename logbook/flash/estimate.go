package flash

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// estimate is one value of the settings as the book has it, and how sure that is.
type estimate struct {
	Name string  `json:"name"` // as in the settings file: prior.large.first_g, grade_sd
	Old  float64 `json:"old"`
	New  float64 `json:"new"`
	// SE is the standard error of ln(New), from the curvature of the log likelihood and
	// the weak pull at the top: roughly the part by which New may be off.
	SE float64 `json:"se"`
	// Told is false where the closures hardly tell the value from the house default: what
	// stands there is mostly the default, whatever its digits.
	Told bool `json:"told"`
}

// toldApart is how much of the weak pull's own width may be left in the standard error of a
// value that the closures tell (house default): past it the book has taken away less than a
// quarter of the doubt.
const toldApart = 0.75

// estimates are the values at the top of the fit, with their standard errors: the inverse
// of the matrix of second differences of evidence and pull. (Observed information; Efron
// and Hinkley, Biometrika 65 (1978) 457, from memory.)
func (c *Calibration) estimates(k book) []estimate {
	ks, z := c.top.knobs, c.top.z
	// second differences of the log evidence; a prior moves only its own size.
	const h = 0.05
	info := mat.NewSymDense(len(ks), nil)
	at := append([]float64(nil), z...)
	evidence := func(of Size) float64 {
		s, sum := c.top.at(at), 0.0
		for _, size := range Sizes() {
			if of == "" || of == size {
				sum += k.evidence(s, size)
			}
		}
		return sum
	}
	shared := func(i, j int) (of Size, apart bool) {
		a, b := ks[i].size, ks[j].size
		switch {
		case a == "":
			return b, false
		case b == "" || a == b:
			return a, false
		}
		return "", true
	}
	for i := range ks {
		for j := i; j < len(ks); j++ {
			of, apart := shared(i, j)
			if apart {
				continue
			}
			d := 0.0
			for _, sign := range [][3]float64{{1, 1, 1}, {1, -1, -1}, {-1, 1, -1}, {-1, -1, 1}} {
				at[i] += sign[0] * h
				at[j] += sign[1] * h
				d += sign[2] * evidence(of)
				at[i], at[j] = z[i], z[j]
			}
			info.SetSym(i, j, -d/(4*h*h))
		}
		info.SetSym(i, i, info.At(i, i)+1)
	}
	var inverse mat.SymDense
	var chol mat.Cholesky
	known := chol.Factorize(info)
	if known {
		known = chol.InverseTo(&inverse) == nil
	}
	out := make([]estimate, len(ks))
	for i, n := range ks {
		out[i] = estimate{Name: n.name, Old: *n.value(&c.Old), New: *n.value(&c.New), SE: n.pull}
		if known {
			sd := math.Sqrt(inverse.At(i, i))
			out[i].SE, out[i].Told = n.pull*sd, sd < toldApart
		}
	}
	return out
}
