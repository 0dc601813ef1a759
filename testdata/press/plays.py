"""Reference cases for the press: one press, one pair of hands, closures known, played second by second of work in plain
Python by two rules; and the chance of each number of trial closures by size, by drawing. Writes plays.json beside it.

Rules: open the press when the hold is over; else put the first flask in the rule's order into the free press; else trim
the first; else wait for the hold. "earliest end" orders by the end of the dough, "one at a time" touches only the first
flask not yet finished, in the order given. Only shifts with every flask in time are kept, so that it does not matter
what is done with a flask past its dough. Durations and the distribution of closures are house defaults."""
import json, math, os, random

RAISE, HOLD, OPEN, TRIM, FINAL = 42, 60, 18, 90, 120  # seconds
SIZES = {"small": (4, 0.6, 0.30, 0.35), "medium": (8, 0.6, 0.30, 0.35), "large": (18, 0.6, 0.40, 0.35)}
GRADE_SD, MOST = 0.45, 15


def closures(size, rnd):
    """trial closures a flask turns out to need: the first from the second on that is at or under slight (1 g)"""
    grams, grams_sd, kept, kept_sd = SIZES[size]
    a, b = rnd.gauss(math.log(grams), grams_sd), rnd.gauss(math.log(kept), kept_sd)
    for k in range(2, MOST):
        if a + b * (k - 1) + rnd.gauss(0, GRADE_SD) < 0:
            return k
    return MOST


def play(need, due, rule):
    n, t, inside, over = len(need), 0, None, 0
    left, trim, done = list(need), [False] * n, [None] * n
    key = (lambda i: (due[i], i)) if rule == "earliest end" else (lambda i: i)
    while None in done:
        live = sorted((i for i in range(n) if done[i] is None), key=key)
        if rule == "one at a time":
            live = live[:1]
        if inside is not None and over <= t:
            t += OPEN
            left[inside] -= 1
            trim[inside], inside = True, None
            continue
        fit = [i for i in live if not trim[i]] if inside is None else []
        wet = [i for i in live if trim[i]]
        if fit:
            i = fit[0]
            if left[i] == 0:
                t += FINAL
                done[i] = t
            else:
                t += RAISE
                inside, over = i, t + HOLD
        elif wet:
            t += TRIM
            trim[wet[0]] = False
        else:
            t = over
    return done


def main():
    rnd = random.Random(20)
    cases = []
    while len(cases) < 40:
        n = rnd.randint(1, 4)
        need = [rnd.randint(0, 4) for _ in range(n)]
        due = [60 * rnd.randint(20, 70) for _ in range(n)]
        want = {r: play(need, due, r) for r in ("earliest end", "one at a time")}
        if all(f <= d for w in want.values() for f, d in zip(w, due)):
            cases.append({"need": need, "due_s": due, "finish_s": want})
    draws = 200_000
    totals = {}
    for size in SIZES:
        count = [0] * MOST
        for _ in range(draws):
            count[closures(size, rnd) - 1] += 1
        totals[size] = count
    out = {"plays": cases, "totals_draws": draws, "totals": totals}
    with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "plays.json"), "w") as f:
        json.dump(out, f, separators=(",", ":"))
        f.write("\n")


main()
