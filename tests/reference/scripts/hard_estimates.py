"""Estimates of the hard cases that have one, to 50 digits, and their tables rewritten.

python3 tests/reference/scripts/hard_estimates.py [--write]

Needs mpmath. Knows nothing of the program: the log-likelihood is summed as it is defined
(Meeker & Escobar, Statistical Methods for Reliability Data, 1998, chapter 2), its peak is
bracketed on a grid over ln shape and both derivatives are solved for 0. Without --write it
tells whether the files hold what it finds.
"""

import json
import pathlib
import sys

from mpmath import diff, exp, findroot, inf, log, mp, mpf, nstr

mp.dps = 50
FOLDER = pathlib.Path(__file__).parent.parent / "hard"


def log_likelihood(lives, a, b):
    k = exp(b)

    def hazard(t):
        return exp(k * (log(mpf(repr(t))) - a)) if t else mpf(0)

    total = mpf(0)
    for life in lives:
        lo, hi, entry = life["lo"], life["hi"], life["entry"] or 0
        kind = life["outcome"]
        if kind == "failure":
            one = b - log(mpf(repr(hi))) + k * (log(mpf(repr(hi))) - a) - hazard(hi)
        elif kind == "suspension":
            one = -hazard(lo)
        elif kind == "interval":
            one = log(exp(-hazard(lo)) - exp(-hazard(hi)))
        else:
            one = log(exp(-hazard(entry)) - exp(-hazard(hi)))
        total += life["count"] * (one + hazard(entry))
    return total


def best_scale(lives, b):
    """Bisection on the slope in ln scale, which falls through 0 once."""
    slope = lambda c: diff(lambda a: log_likelihood(lives, a, b), middle - c / exp(b))
    middle = log(max(mpf(repr(life["hi"] or life["lo"])) for life in lives))
    low, high = mpf(-20), mpf(20) + exp(b) / 10
    for _ in range(60):
        c = (low + high) / 2
        # A larger hazard is a smaller scale.
        low, high = (c, high) if slope(c) < 0 else (low, c)
    return middle - low / exp(b)


def estimate(lives):
    best = (-inf, None, None)
    for n in range(-14, 41):
        b = mpf(n) / 4
        mp.dps = 30
        a = best_scale(lives, b)
        value = log_likelihood(lives, a, b)
        if value > best[0]:
            best = (value, a, b)
    mp.dps = 50
    value = lambda a, b: log_likelihood(lives, a, b)
    score = lambda a, b: (diff(value, (a, b), (1, 0)), diff(value, (a, b), (0, 1)))
    # From the grid point, climb by profile before both derivatives are solved at once.
    _, a, b = best
    low, high = b - mpf(1) / 4, b + mpf(1) / 4
    mp.dps = 30
    for _ in range(30):
        x, y = low + (high - low) / 3, high - (high - low) / 3
        if value(best_scale(lives, x), x) < value(best_scale(lives, y), y):
            low = x
        else:
            high = y
    b = (low + high) / 2
    a = best_scale(lives, b)
    mp.dps = 50
    a, b = findroot(score, (a, b), tol=1e-60)
    return exp(b), exp(a), value(a, b)


for path in sorted(FOLDER.glob("*.json")):
    case = json.loads(path.read_text())
    if "error" in case["expect"]:
        continue
    shape, scale, height = (nstr(x, 17) for x in estimate(case["data"]["lives"]))
    held = case["expect"]
    found = {"shape": float(shape), "scale": float(scale), "log_likelihood": float(height)}
    same = all(
        held.get(key) is not None and abs(held[key] / value - 1) < 1e-14
        for key, value in found.items()
    )
    print(case["id"], shape, scale, height, "as held" if same else "NOT AS HELD")
    if "--write" in sys.argv:
        held.update(found)
        held["origin"] = "computed: tests/reference/scripts/hard_estimates.py, mpmath at 50 digits"
        path.write_text(json.dumps(case, indent=1, ensure_ascii=False) + "\n")
