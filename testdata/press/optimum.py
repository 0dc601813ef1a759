"""The most flasks that can be expected in time at one press with one pair of hands, when nobody knows how many trial
closures a flask will want: exact dynamic programming over what has been seen, in plain Python. Writes optimum.json
beside it; takes some minutes.

State: the second, what stands in the press and until when it must be held, and for each flask how many closures were
judged, whether the last said ready, and whether it wants trimming. What the hands can do: press a flask (42 s, then
60 s under pressure without hands), open it when it was held (18 s; the flash says ready or not, with the chance that
the closures so far leave), trim and lay a sheet (90 s), close a ready flask for good (120 s), give up the flask in the
press before its hold is over (18 s). A flask that cannot be closed in time even if all goes well is left alone. Worth: one for each
flask whose final closure is over inside its dough. Durations, shares of the sizes and the distribution of closures
(by a midpoint sum over first flash and fraction kept) are house defaults, not measured at a bench."""
import itertools, json, math, os, sys

sys.setrecursionlimit(100_000)
RAISE, HOLD, OPEN, TRIM, FINAL = 42, 60, 18, 90, 120  # seconds
SIZES = {"small": (0.3, 4, 0.6, 0.30, 0.35), "medium": (0.5, 8, 0.6, 0.30, 0.35), "large": (0.2, 18, 0.6, 0.40, 0.35)}
GRADE_SD, LEAST, MOST = 0.45, 2, 15
ROWS = [([35], 2), ([35], 3), ([20, 35], 2), ([20, 35], 3), ([15], 2), ([12, 18, 24], 3), ([25], 3)]  # minutes, flasks
WAITS, TRIMS, GONE = 0, 1, 2  # sheet laid; open and judged; closed for good, given up or past helping


def totals(size):
    """chance of each number of closures: the first from the second on that is at or under slight (1 g)"""
    _, grams, grams_sd, kept, kept_sd = SIZES[size]
    n, wide = 240, 7.0
    cut = [(2 * k + 1 - n) * wide / n for k in range(n)]
    w = [math.exp(-z * z / 2) for z in cut]
    w = [x / sum(w) for x in w]
    got = [0.0] * MOST
    for za, wa in zip(cut, w):
        a = math.log(grams) + grams_sd * za
        for zb, wb in zip(cut, w):
            b, left = math.log(kept) + kept_sd * zb, wa * wb
            for k in range(LEAST, MOST):
                enough = left * 0.5 * math.erfc((a + b * (k - 1)) / GRADE_SD / math.sqrt(2))
                got[k - 1] += enough
                left -= enough
            got[MOST - 1] += left
    return got


def hazards(p):
    """chance that the closure judged next says ready, by how many were judged before it in vain"""
    out, left = [], 1.0
    for x in p:
        out.append(min(1.0, x / left) if left > 1e-15 else 1.0)
        left -= x
    out[-1] = 1.0
    return out


def optimum(due, hazard):
    """flasks expected in time by the best policy, and how many states it has"""
    n, seen = len(due), {}

    def tidy(t, inside, over, flasks):
        out = []
        for i, f in enumerate(flasks):
            stage, judged, ready = f
            if stage != GONE:
                work = (max(0, over - t) + OPEN + TRIM if inside == i else TRIM if stage == TRIMS else 0) + FINAL
                if inside != i and stage == WAITS and not ready:
                    work += RAISE + HOLD + OPEN + TRIM
                if t + work > due[i]:
                    f = (GONE, 0, False)
            out.append(f)
        return t, inside, max(over, t) if inside >= 0 else 0, tuple(out)

    def worth(state):
        if state in seen:
            return seen[state]
        t, inside, over, flasks = state
        best = 0.0
        if any(f[0] != GONE for f in flasks):

            def after(t, inside, over, i, f):
                return worth(tidy(t, inside, over, flasks[:i] + (f,) + flasks[i + 1:]))

            for i, (stage, judged, ready) in enumerate(flasks):
                if i == inside:
                    best = max(best, after(t + OPEN, -1, 0, i, (GONE, 0, False)))
                    if stage != GONE:
                        h, end = hazard[i][judged], over + OPEN
                        w = h * after(end, -1, 0, i, (TRIMS, judged + 1, True)) if h > 0 else 0.0
                        if h < 1:
                            w += (1 - h) * after(end, -1, 0, i, (TRIMS, judged + 1, False))
                        best = max(best, w)
                elif stage == TRIMS:
                    best = max(best, after(t + TRIM, inside, over, i, (WAITS, judged, ready)))
                elif stage == WAITS and inside < 0:
                    if ready:
                        best = max(best, 1 + after(t + FINAL, -1, 0, i, (GONE, 0, False)))
                    else:
                        best = max(best, after(t + RAISE, i, t + RAISE + HOLD, i, (WAITS, judged, False)))
        seen[state] = best
        return best

    return worth(tidy(0, -1, 0, ((WAITS, 0, False),) * n)), len(seen)


def main():
    p = {s: totals(s) for s in SIZES}
    hazard = {s: hazards(p[s]) for s in SIZES}
    rows = []
    for mixes, n in ROWS:
        due = [60 * mixes[i % len(mixes)] for i in range(n)]
        mean, benches, known = 0.0, [], {}
        for sizes in itertools.product(SIZES, repeat=n):
            share = math.prod(SIZES[s][0] for s in sizes)
            key = tuple(sorted(zip(due, sizes)))
            if key not in known:
                known[key] = optimum([d for d, _ in key], [hazard[s] for _, s in key])
                benches.append({"due_s": [d for d, _ in key], "sizes": [s for _, s in key], "share": 0.0,
                                "in_time": known[key][0], "states": known[key][1], "key": key})
            next(b for b in benches if b["key"] == key)["share"] += share
            mean += share * known[key][0]
        for b in benches:
            del b["key"]
        rows.append({"mixes_min": mixes, "flasks": n, "in_time": mean, "lost": 1 - mean / n, "benches": benches})
        print(mixes, n, round(1 - mean / n, 4), max(b["states"] for b in benches), flush=True)
    with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "optimum.json"), "w") as f:
        json.dump({"totals": p, "rows": rows}, f, indent=1)
        f.write("\n")


main()
