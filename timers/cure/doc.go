// Package cure estimates what happens in a flask in the water bath: the temperature in the middle of the resin and the
// monomer left in it, from the bath's programme or its readings. Around that stand programmes, planning back from a time,
// readings and what they cost when the bath was off, and what cold flasks do to a bath. It is pure: no clock, no disk, no
// screen.
//
// Every figure is an estimate with a range; follow the resin maker's cycle. [Limits] says what must not be read out of it.
//
// # The model
//
// Layers of metal wall | gypsum | resin | gypsum | metal wall, one dimension, finite volumes, temperatures in K:
//
//	ρ cp dx dT_i/dt = G_(i-1)(T_(i-1)-T_i) + G_i(T_(i+1)-T_i) + k_i Λ dx (T_f - T_i) + Q dX_i/dt
//	Cw dT_wall/dt   = h (T_bath - T_wall) + G (T_1 - T_wall)
//	G_i = 1/(dx_i/2k_i + dx_(i+1)/2k_(i+1)),   Q = ρ wm0 ΔH/0.10012 dx in the resin,   wm0 = 1/(1+PL)
//
// The two other directions are a leak of the first mode, fed by a delayed bath so that the late amplitude is exact:
//
//	Λ = (π²/4) (1/(Lx + kg/h)² + 1/(Ly + kg/h)²),   dT_f/dt = (T_bath - T_f)/τ,   τ = (1 - π²/16)/(Λ kg/(ρg cpg))
//
// In every resin cell, X the share of monomer converted and y the share of peroxide left, concentrations in mol/L:
//
//	dy/dt = -kd y                          kd = kd73 exp(-Ed/R (1/T - 1/346.15))
//	dX/dt = g kp Rad (1-X)                 kp = Ap exp(-Ep/(R T))
//	Rad   = 2 Ri/(kz Z + sqrt((kz Z)² + 4 kt Ri)),   Ri = 2 f kd I0 y
//	Z     = max(0, Z0 - 2 f I0 (1-y))      inhibitor and oxygen left
//	kt    = Crd kp M0 (1-X) + kt,min       termination by reaction diffusion
//	g     = 1/(1 + exp((Tg - T - z0)/s))   1/Tg = (1-w)/Tg,p + w/Tg,m,  w = wm0 (1-X)
//
// Heat flow is textbook physics and its error is the user's flask. The chemistry is an effective model, fitted to a few
// published residuals; [Params.Table] marks every value.
//
// Time steps are Rodas3 with error control; X and y are eliminated by hand in every cell, which leaves one tridiagonal
// sweep per stage.
package cure
