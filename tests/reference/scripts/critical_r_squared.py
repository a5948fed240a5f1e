"""Critical r-squared of rank regression, simulated with numpy.

Writes ../critical-r-squared.json. An implementation apart from the program's: complete
samples are drawn and sorted; samples with suspensions are drawn item by item (each removed
item is picked at random among the survivors just after a failure), not by exponential gaps.
Run: python3 critical_r_squared.py   (numpy, scipy; about a minute)
"""
import json, math, os
import numpy as np
from scipy.stats import beta, norm

OURS = 4_000          # replicates of the program
THEIRS = 200_000      # replicates here
CHUNK = 20_000
# f: failure, s: suspension, in order of usage.
PATTERNS = {
    "complete-5": "f" * 5,
    "complete-10": "f" * 10,
    "complete-20": "f" * 20,
    "mixed-14": "fsffsfssffsfss",
}


def adjusted_ranks(ends):
    n, rank, ranks = len(ends), 0.0, []
    for passed, end in enumerate(ends):
        if end == "f":
            rank += (n + 1 - rank) / (1 + n - passed)
            ranks.append(rank)
    return np.array(ranks)


def samples(ends, rng, count):
    """Failure times of unit exponentials, rows of a count x failures array."""
    n = len(ends)
    lives = np.sort(rng.exponential(size=(count, n)), axis=1)
    if "s" not in ends:
        return lives
    # Walk the pattern: a failure is the least of those left, a suspension takes away one
    # of those left at random.
    left = np.ones((count, n), bool)
    rows, out = np.arange(count), []
    for end in ends:
        if end == "f":
            first = np.argmax(left, axis=1)  # lives are sorted: first True is the least
            out.append(lives[rows, first])
            left[rows, first] = False
        else:
            key = np.where(left, rng.random((count, n)), -1.0)
            left[rows, np.argmax(key, axis=1)] = False
    return np.stack(out, axis=1)


def r_squared(x, y):
    x = x - x.mean(axis=1, keepdims=True)
    y = y - y.mean()
    return (x @ y) ** 2 / ((x * x).sum(axis=1) * (y @ y))


def main():
    rng = np.random.default_rng(20260711)
    expect = []
    for family in ["weibull", "lognormal"]:
        for name, ends in PATTERNS.items():
            n, ranks = len(ends), adjusted_ranks(ends)
            share = beta.ppf(0.5, ranks, n - ranks + 1)
            found = []
            for _ in range(THEIRS // CHUNK):
                e = samples(ends, rng, CHUNK)
                if family == "weibull":
                    found.append(r_squared(np.log(e), np.log(-np.log1p(-share))))
                else:
                    found.append(r_squared(-norm.ppf(np.exp(-e)), norm.ppf(share)))
            r2 = np.concatenate(found)
            critical = float(np.quantile(r2, 0.1))
            low, high = np.quantile(r2, [0.08, 0.12])
            density = 0.04 / (high - low)
            error = lambda m: math.sqrt(0.1 * 0.9 / m) / density
            both = math.hypot(error(OURS), error(THEIRS))
            expect.append({
                "quantity": f"{family}.{name}",
                "value": round(critical, 6),
                "rel_tol": 0,
                "abs_tol": round(3.5 * both, 6),
                "origin": f"simulated: numpy {np.__version__} default_rng(20260711), {THEIRS} samples, "
                          f"standard error {error(THEIRS):.1e}; of {OURS} samples {error(OURS):.1e}",
            })
            print(expect[-1]["quantity"], critical, expect[-1]["abs_tol"])
    case = {
        "id": "critical-r-squared",
        "topic": "critical-r-squared",
        "title": "The r-squared that one straight sample in ten falls below, exact median ranks",
        "source": "tests/reference/scripts/critical_r_squared.py; definition: 10 % quantile of the squared "
                  "correlation of order statistics with the transformed median ranks",
        "unit": "none",
        "data": {"patterns": PATTERNS},
        "expect": expect,
    }
    path = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "critical-r-squared.json")
    with open(path, "w") as file:
        json.dump(case, file, indent=1)
        file.write("\n")


main()
