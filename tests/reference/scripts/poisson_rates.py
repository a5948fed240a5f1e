"""Exact limits of Poisson rates and of their ratio, for tests/reference/poisson-*.json.

Limits of a rate: chi-square quantiles (Garwood 1936). Ratio: Clopper-Pearson limits of the
binomial chance, given the sum (Przyborowski & Wilenski 1940). scipy's own quantiles; the p value
by direct sums of the binomial.
"""

import json
import sys

import scipy
from scipy.stats import beta, binom, chi2

ORIGIN = f"computed: scipy {scipy.__version__} (tests/reference/scripts/poisson_rates.py)"


def rate(n, usage, confidence):
    a = (1 - confidence) / 2
    lower = chi2.ppf(a, 2 * n) / 2 / usage if n else 0.0
    return lower, chi2.ppf(1 - a, 2 * n + 2) / 2 / usage


def ratio(n1, u1, n2, u2, confidence):
    a = (1 - confidence) / 2
    n = n1 + n2
    odds = lambda q: q / (1 - q) * u1 / u2
    lower = odds(beta.ppf(a, n2, n1 + 1)) if n2 else 0.0
    upper = odds(beta.ppf(1 - a, n2 + 1, n1)) if n1 else None
    q = u2 / (u1 + u2)
    at_most = sum(binom.pmf(k, n, q) for k in range(n2 + 1))
    at_least = sum(binom.pmf(k, n, q) for k in range(n2, n + 1))
    return lower, upper, min(1.0, 2 * min(at_most, at_least))


def expected(quantity, value):
    return {"quantity": quantity, "value": value, "rel_tol": 1e-9, "origin": ORIGIN}


rates = [(0, 1.0, 0.95), (1, 1.0, 0.9), (5, 1.0, 0.95), (10, 4321.5, 0.95), (137, 24.19893, 0.95), (2500, 1e6, 0.99)]
ratios = [
    (11, 800, 21, 3011, 0.95),
    (3, 8000, 11, 7600, 0.9),
    (0, 1200, 4, 900, 0.9),
    (6, 5000, 0, 4000, 0.9),
    (120, 20000, 80, 21000, 0.95),
]
out = []
for i, case in enumerate(rates):
    lower, upper = rate(*case)
    out += [expected(f"rate_lower[{i}]", lower), expected(f"rate_upper[{i}]", upper)]
for i, case in enumerate(ratios):
    lower, upper, p = ratio(*case)
    out.append(expected(f"ratio_lower[{i}]", lower))
    if upper is not None:
        out.append(expected(f"ratio_upper[{i}]", upper))
    out.append(expected(f"ratio_p[{i}]", p))
json.dump(
    {
        "id": "poisson-rates",
        "topic": "poisson-rates",
        "title": "Exact limits of Poisson rates and of the ratio of two",
        "source": "Garwood, Biometrika 28 (1936); Przyborowski & Wilenski, Biometrika 31 (1940)",
        "data": {
            "rates": [dict(zip(("events", "usage", "confidence"), c)) for c in rates],
            "ratios": [dict(zip(("events_1", "usage_1", "events_2", "usage_2", "confidence"), c)) for c in ratios],
        },
        "expect": out,
    },
    sys.stdout,
    indent=1,
)
print()
