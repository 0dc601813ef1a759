"""The same flask model in NumPy, solved with SciPy's stiff solvers: 74 C, at 9 h a 30 min ramp, 100 C to 14 h, 3 mm.

Writes scipy_case.json: tight reference values (Radau, rtol 1e-9) and, for each solver and tolerance, the largest error
against them and the time of one run. Run it with: python3 scipy_case.py > scipy_case.json
The equations are those in the comments of timers/cure; the code shares nothing with it.
"""
import json
import platform
import time
import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.sparse import lil_matrix

R, K0 = 8.314462618, 273.15
NG, NR = 12, 8
HALF, GYP, LX, LY = 1.5e-3, 25e-3, 50e-3, 42e-3
RHO_R, K_R, CP_R, RHO_G, K_G, CP_G, CW, H = 1090.0, 0.20, 1800.0, 1750.0, 0.75, 1600.0, 11e3, 500.0
PL, BPO, DH, F = 2.0, 0.005, 55500.0, 0.5
KD73, ED, AP, EP = np.log(2) / 36000, 124300.0, 10**6.427, 22360.0
CRD, KT_MIN, Z0, KZ, TGM, TGP, GO, GS, T0 = 200.0, 1e5, 2e-4, 2e4, 167.0, 383.0, -29.0, 14.0, 22 + K0
BATH_T, BATH_C = np.array([0.0, 32400.0, 34200.0]), np.array([74.0, 74.0, 100.0])
END = 14 * 3600.0
TIMES = [300.0 * i for i in range(1, 25)] + [1800.0 * i for i in range(5, 29)]

WM0 = 1 / (1 + PL)
M0 = RHO_R * WM0 / 0.10012 / 1000
I0 = RHO_R * (1 - WM0) * BPO / 0.24223 / 1000
DX = np.r_[np.full(NG, GYP / NG), np.full(NR, 2 * HALF / NR), np.full(NG, GYP / NG)]
RESIN = np.r_[np.zeros(NG, bool), np.ones(NR, bool), np.zeros(NG, bool)]
KC = np.where(RESIN, K_R, K_G)
CAP = np.r_[CW, np.where(RESIN, RHO_R * CP_R, RHO_G * CP_G) * DX, CW]
HALFRES = DX / (2 * KC)
FACE = np.r_[1 / HALFRES[0], 1 / (HALFRES[:-1] + HALFRES[1:]), 1 / HALFRES[-1]]
LEAK = np.pi**2 / 4 * (1 / (LX + K_G / H) ** 2 + 1 / (LY + K_G / H) ** 2)
TAU = (1 - np.pi**2 / 16) / (LEAK * K_G / (RHO_G * CP_G))
SIDE = np.r_[0, LEAK * KC * DX, 0]
FILM = np.zeros_like(CAP)
FILM[0] = FILM[-1] = H
IR = np.where(RESIN)[0] + 1
HEAT = RHO_R * WM0 * DH / 0.10012 * 2 * HALF / NR
NT = len(CAP)
N = NT + 2 * NR + 1


def bath(t):
    return np.interp(t, BATH_T, BATH_C) + K0


def rhs(t, u):
    T, x, y, tf = u[:NT], u[NT:NT + NR], u[NT + NR:NT + 2 * NR], u[-1]
    Tr = T[IR]
    kd = KD73 * np.exp(-ED / R * (1 / Tr - 1 / (73 + K0)))
    kp = AP * np.exp(-EP / (R * Tr))
    yy, om = np.maximum(y, 0), np.maximum(1 - x, 0)
    ri = 2 * F * kd * I0 * yy
    kt = CRD * kp * M0 * om + KT_MIN
    a = KZ * np.maximum(0, Z0 - 2 * F * I0 * (1 - yy))
    rad = 2 * ri / (a + np.sqrt(a * a + 4 * kt * ri) + 1e-300)
    w = WM0 * (1 - x)
    tg = 1 / ((1 - w) / TGP + w / TGM)
    g = 1 / (1 + np.exp(np.clip((tg - Tr - GO) / GS, -60, 60)))
    dx = g * kp * rad * om
    tb = bath(t)
    q = FACE * np.diff(T)
    d = FILM * (tb - T) + SIDE * (tf - T)
    d[:-1] += q
    d[1:] -= q
    d[IR] += HEAT * dx
    return np.concatenate((d / CAP, dx, -kd * y, [(tb - tf) / TAU]))


def sparsity():
    s = lil_matrix((N, N))
    s[:NT, -1] = 1
    s[-1, -1] = 1
    for i in range(NT):
        for j in (i - 1, i, i + 1):
            if 0 <= j < NT:
                s[i, j] = 1
    for c, i in enumerate(IR):
        s[i, NT + c] = s[i, NT + NR + c] = 1
        s[NT + c, i] = s[NT + c, NT + c] = s[NT + c, NT + NR + c] = 1
        s[NT + NR + c, i] = s[NT + NR + c, NT + NR + c] = 1
    return s.tocsr()


SPARSE = sparsity()


def solve(method, rtol):
    """core C and core monomer wt% at TIMES, mean monomer at the end; the run breaks at the bath's knots."""
    u = np.r_[np.full(NT, T0), np.zeros(NR), np.ones(NR), T0]
    atol = np.r_[np.full(NT, rtol * 100), np.full(2 * NR, rtol), rtol * 100]
    core, mono = [], []
    brk = [0.0, 32400.0, 34200.0, END]
    for a, b in zip(brk[:-1], brk[1:]):
        ev = [t for t in TIMES if a < t <= b]
        kw = {} if method == "LSODA" else {"jac_sparsity": SPARSE}
        s = solve_ivp(rhs, (a, b), u, method=method, rtol=rtol, atol=atol, t_eval=sorted(set(ev + [b])), max_step=900, first_step=1.0, **kw)
        if not s.success:
            raise RuntimeError(s.message)
        m = NR // 2
        for i, t in enumerate(s.t):
            if t in ev:
                core.append((s.y[IR[m - 1], i] + s.y[IR[m], i]) / 2 - K0)
                mono.append(100 * WM0 * (1 - (s.y[NT + m - 1, i] + s.y[NT + m, i]) / 2))
        u = s.y[:, -1]
    return np.array(core), np.array(mono), 100 * WM0 * (1 - u[NT:NT + NR].mean())


ref = solve("Radau", 1e-9)
runs = []
for method in ("Radau", "BDF", "LSODA"):
    for rtol in (1e-3, 1e-4, 3e-5, 1e-5, 5e-6, 3e-6, 2e-6, 1e-6, 1e-7):
        got = solve(method, rtol)
        best = np.inf
        for _ in range(5):
            t = time.perf_counter()
            solve(method, rtol)
            best = min(best, time.perf_counter() - t)
        runs.append(dict(method=method, rtol=rtol, core_err=float(abs(got[0] - ref[0]).max()),
                         w_err=float(abs(got[1] - ref[1]).max()), w_end_err=float(abs(got[2] - ref[2])), ms=round(best * 1e3, 1)))
print(json.dumps(dict(
    note="74 C to 9 h, 100 C from 9.5 h to 14 h, 3 mm, 12+8+12 cells; reference: Radau rtol 1e-9; ms: best of five runs",
    scipy=scipy.__version__, numpy=np.__version__, python=platform.python_version(), machine=platform.machine(),
    times=TIMES, core=ref[0].tolist(), w_core=ref[1].tolist(), w_mean_end=float(ref[2]), runs=runs), indent=1))
