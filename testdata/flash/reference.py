"""Further reference cases for the flash trend, by dense summation (SciPy, float64).

    python3 reference.py > cases-more.json

The posterior of (a, b) on 2801 x 1867 points over +-14 sds of the priors: twice as far as
cases.json, whose cells these are, for a flask that contradicts its size pulls its line
past 7 sds. Written with other means than the program: no adaptive rule, no table, logs
throughout. "film" has a floor: the flash is exp(a + b (k - 1)) + floor_g.
"""
import json
import sys

import numpy as np
from scipy.stats import norm

HOUSE = {
    "none_below_g": 0.15, "heavy_above_g": 1.0, "grade_sd": 0.45, "weigh_sd": 0.25,
    "prior": {
        "small": {"first_g": 4, "first_sd": 0.6, "kept": 0.3, "kept_sd": 0.35},
        "medium": {"first_g": 8, "first_sd": 0.6, "kept": 0.3, "kept_sd": 0.35},
        "large": {"first_g": 18, "first_sd": 0.6, "kept": 0.4, "kept_sd": 0.35},
    },
}
OTHER = {
    "none_below_g": 0.3, "heavy_above_g": 1.6, "grade_sd": 0.3, "weigh_sd": 0.12,
    "prior": {
        "small": {"first_g": 2.5, "first_sd": 0.4, "kept": 0.45, "kept_sd": 0.2},
        "medium": {"first_g": 6, "first_sd": 0.9, "kept": 0.5, "kept_sd": 0.25},
        "large": {"first_g": 30, "first_sd": 0.5, "kept": 0.35, "kept_sd": 0.5},
    },
}
FILM = dict(HOUSE, floor_g=0.7)
THIN = dict(OTHER, floor_g=0.02)
SETTINGS = {"house": HOUSE, "other": OTHER, "film": FILM, "thin": THIN}


def log_grade(s, m, g):
    lo, hi = (np.log(s["none_below_g"]) - m) / s["grade_sd"], (np.log(s["heavy_above_g"]) - m) / s["grade_sd"]
    if g == "none":
        return norm.logcdf(lo)
    if g == "heavy":
        return norm.logsf(hi)
    flip = lo > 0  # take the difference in the lower tail, where it keeps its digits
    u, v = np.where(flip, -lo, hi), np.where(flip, -hi, lo)
    top, low = norm.logcdf(u), norm.logcdf(v)
    return top + np.log1p(-np.exp(low - top))


def flash(s, m):
    return np.logaddexp(m, np.log(s["floor_g"])) if "floor_g" in s else m


def trials(text):
    out = []
    for word in filter(None, text.split(",")):
        t = {}
        if word[0] == "+":
            t["added"], word = True, word[1:]
        grade, _, grams = word.partition(":")
        t["grade"] = grade
        if grams:
            t["grams"] = float(grams)
        out.append(t)
    return out


def want(s, size, ts, ahead=12):
    p = s["prior"][size]
    ma, mb = np.log(p["first_g"]), np.log(p["kept"])
    a = np.linspace(ma - 14 * p["first_sd"], ma + 14 * p["first_sd"], 2801)[:, None]
    b = np.linspace(mb - 14 * p["kept_sd"], mb + 14 * p["kept_sd"], 1867)[None, :]
    log_a = norm.logpdf(a, ma, p["first_sd"])
    log = log_a + norm.logpdf(b, mb, p["kept_sd"])
    k = 0
    for t in ts:
        if t.get("added") and k:
            top = log.max()
            log, k = log_a + np.log(np.exp(log - top).sum(axis=0, keepdims=True)) + top + np.log(a[1, 0] - a[0, 0]), 0
        m = flash(s, a + b * k)
        if "grams" in t:
            log = log + norm.logpdf(np.log(t["grams"]), m, s["weigh_sd"])
        else:
            log = log + log_grade(s, m, t["grade"])
        k += 1
    w = np.exp(log - log.max())
    cell = (a[1, 0] - a[0, 0]) * (b[0, 1] - b[0, 0])
    evidence = log.max() + np.log(w.sum() * cell)
    w /= w.sum()

    def moments(x):
        mean = (w * x).sum()
        return float(mean), float(np.sqrt((w * (x - mean) ** 2).sum()))

    o = {}
    o["a_mean"], o["a_sd"] = moments(a + 0 * b)
    o["b_mean"], o["b_sd"] = moments(0 * a + b)
    o["next_log_grams_mean"], o["next_log_grams_sd"] = moments(flash(s, a + b * k))
    chance = {g: float((w * np.exp(log_grade(s, flash(s, a + b * k), g))).sum()) for g in ("none", "slight", "heavy")}
    o["next"] = chance
    first, left = [], w
    for j in range(ahead):
        m = (np.log(s["heavy_above_g"]) - flash(s, a + b * (k + j))) / s["grade_sd"]
        first.append(float((left * norm.cdf(m)).sum()))
        left = left * norm.sf(m)
    o["first_at_most_slight_in"] = first
    total = np.cumsum(first)
    o["more_median"] = int((total < 0.5).sum() + 1)
    o["more_80"] = int((total < 0.8).sum() + 1)
    return o, float(evidence)


CASES = [
    ("house", "small", ""), ("house", "large", ""),
    ("house", "small", "none"), ("house", "medium", "none"), ("house", "large", "none"),
    ("house", "small", "slight"), ("house", "medium", "heavy,slight"), ("house", "large", "heavy,heavy"),
    ("house", "large", "heavy,heavy,heavy,heavy,heavy,slight"),
    ("house", "medium", "heavy,heavy,slight,slight,slight,none,none,none"),
    ("house", "medium", "none,heavy,none,heavy"), ("house", "small", "slight,none,slight,heavy"),
    ("house", "large", "heavy:25,heavy:11,heavy:4.5,heavy:1.7,slight:0.8,slight:0.35,slight:0.2,none:0.1"),
    ("house", "medium", "heavy:900"), ("house", "medium", "none:0.01"), ("house", "medium", "heavy:1.2,heavy:9"),
    ("house", "medium", "none,+heavy:6.5,heavy,slight:0.6"),
    ("house", "large", "heavy,slight,+heavy,slight,+heavy,heavy,slight"),
    ("house", "small", "heavy:3,+heavy,+slight,slight"),
    ("other", "small", "heavy,slight"), ("other", "medium", ""), ("other", "medium", "heavy:5,heavy,slight,+heavy:4,slight"),
    ("other", "large", "heavy,heavy,heavy"), ("other", "large", "none"), ("other", "small", "none,+heavy,none"),
    ("house", "large", "slight:0.1"), ("house", "large", "none:0.1,none:0.05"),
    ("film", "medium", ""), ("film", "medium", "heavy,heavy"), ("film", "large", "heavy:20,heavy:6,heavy:2.4,heavy:1.2,slight:0.7"),
    ("film", "large", "heavy,heavy,heavy,heavy,slight,heavy"), ("film", "small", "slight,none"), ("film", "medium", "none,+heavy:6.5,heavy,slight:0.6"),
    ("film", "large", "slight:0.1"), ("thin", "medium", "heavy:5,heavy,slight,+heavy:4,slight"),
]
out = {"settings": SETTINGS, "cases": []}
for name, size, text in CASES:
    ts = trials(text)
    w, evidence = want(SETTINGS[name], size, ts)
    out["cases"].append({"name": text or "nothing yet", "settings": name, "size": size, "trials": ts, "want": w, "log_evidence": evidence})
json.dump(out, sys.stdout, indent=1)
print()
