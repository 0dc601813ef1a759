// Package flash follows the flash over the trial closures of a flask: how much is
// likely to come at the next closure, how many closures are still likely, and whether
// what was seen is enough for the final closure.
//
// # The model
//
// Trials are numbered k = 1, 2, … since dough was last added (a segment). The grams of
// flash trimmed at trial k are w, with
//
//		ln w = a + b·(k − 1) + noise
//
//	  - where the house knows a floor (FloorG), the film that comes however often a flask is
//	    closed, w is e^(a + b·(k − 1)) + FloorG, and so in all that follows;
//	  - a weighed trim is a point, noise sd WeighSD; it stands in for its grade;
//	  - a grade is the interval it stands for, noise sd GradeSD: none below NoneBelowG,
//	    heavy above HeavyAboveG, slight between;
//	  - priors a ~ N(ln FirstG, FirstSD²) and b ~ N(ln Kept, KeptSD²) by size of the base,
//	    independent. Kept is the fraction of the flash that remains from one closure to the
//	    next;
//	  - dough added begins a new segment: a is drawn anew, b keeps what was learned.
//
// In the words of statistics this is interval-censored Gaussian linear regression. The
// house values are house defaults, invented to agree with common practice; they are not
// published figures. Everything computed here is an estimate; the person decides.
//
// # The quadrature
//
// The posterior of (a, b) is summed by a Gauss–Legendre rule in b and, for each b, another
// in a, both with their nodes spread by a polynomial (see newRule). Each rule covers where the density, which is log-concave, is within e⁻³⁶
// of its top (e⁻²⁶ where only the integral matters), with 0.95 nodes (0.65) for each
// 1/√C and 8 to 11 more, C being the largest curvature that prior, trims, grades and
// forecast together can give the log density along that axis: 110 to 190 values of b and
// 25 to 50 of a for each. Against the reference cases every field agrees to 1e-7, relative.
//
// The package is pure: no clock, no disk, no screen.
package flash
