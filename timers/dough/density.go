package dough

import "math"

// The density lines hold from the freezing of a kit to boiling water.
const minDensityC, maxDensityC = -30, 110

// monomerDensityGPerML is the density of methyl methacrylate at tempC, which is
// held to -30 to 110 °C. Linear, from the data set of
// doi 10.1080/10601325.2017.1312678.
func monomerDensityGPerML(tempC float64) float64 {
	return 0.9665 - 0.001164*held(tempC, minDensityC, maxDensityC)
}

// polymerDensityGPerCC is the density of glassy poly(methyl methacrylate) at
// tempC, which is held to -30 to 110 °C. Source as for MonomerDensityGPerML.
func polymerDensityGPerCC(tempC float64) float64 {
	return 1.195 - 0.00033*held(tempC, minDensityC, maxDensityC)
}

// volumeShrinkage is the fraction of its volume that dough loses when all its
// monomer turns to polymer: phi (1 - liquid/polymer), phi being the liquid's
// share of the true volume of both parts. phi is held to 0 to 1; the densities
// are in one unit, the liquid's the smaller and above 0, or the result is 0.
func volumeShrinkage(phi, liquidDensity, polymerDensity float64) float64 {
	ratio := liquidDensity / polymerDensity
	if !(ratio > 0 && ratio < 1) {
		return 0
	}
	return held(phi, 0, 1) * (1 - ratio)
}

// freeLinearShrinkage is the change in length, as a fraction, of a free body
// that loses the fraction s of its volume, s held to 0 to 1. A base is not free:
// mould and flow above the glass temperature take most of it, so this is no
// forecast of fit.
func freeLinearShrinkage(s float64) float64 {
	return 1 - math.Cbrt(1-held(s, 0, 1))
}

// held keeps v between lo and hi; NaN becomes lo.
func held(v, lo, hi float64) float64 {
	if !(v > lo) {
		return lo
	}
	return min(v, hi)
}
