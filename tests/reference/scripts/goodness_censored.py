"""Anderson-Darling and Cramer-von Mises of lives cut short, entered late or found in windows.

Writes ../goodness-*.json. An implementation apart from the program's: integrals by quadrature
in F instead of closed forms, estimates by scipy's root search, other random numbers, item by
item. Parameters of the lives come from the reference cases of maximum likelihood.
Run: python3 goodness_censored.py   (numpy, scipy; some minutes)
"""
import json, math, os
import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq

HERE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..")
SAMPLES = 4_000
THEIRS = 9_999  # replicates of the program's test


def load(name):
    with open(os.path.join(HERE, name + ".json")) as file:
        return json.load(file)


def unroll(case):
    return [(l["entry"] or 0.0, l["lo"], l["hi"]) for l in case["data"]["lives"] for _ in range(l["count"])]


def failed_curve(lives):
    """Corners (t, share failed) of the estimate, and the last usage told of (inf: all failed)."""
    windows = any(hi is not None and lo != hi for _, lo, hi in lives)
    ends = [lo if hi is None else hi for _, lo, hi in lives]
    last = max(ends)
    if windows:
        # Windows one after another and suspensions at the end only: shares are proportions.
        cuts = sorted({t for _, lo, hi in lives if hi is not None for t in (lo, hi)})
        assert all(hi is not None or lo >= cuts[-1] for _, lo, hi in lives)
        share = lambda t: sum(hi is not None and hi <= t for _, lo, hi in lives) / len(lives)
        return [(t, share(t)) for t in cuts], last
    corners, left = [], 1.0
    for t in sorted({hi for _, lo, hi in lives if hi is not None}):
        n = sum(e < t <= end for (e, _, _), end in zip(lives, ends))
        d = sum(hi == t for _, _, hi in lives)
        assert d < n or t == last, "risk set emptied"
        corners.append((t, 1 - left))
        left *= 1 - d / n
        corners.append((t, 1 - left))
    return corners, (last if left > 0 else math.inf)


def distances(lives, shape, scale):
    start = min(e for e, _, _ in lives)
    hazard = lambda t: (t / scale) ** shape
    f = lambda t: 1.0 if t == math.inf else -math.expm1(hazard(start) - hazard(t))
    corners, last = failed_curve(lives)
    us = [0.0] + [f(t) for t, _ in corners] + [f(last)]
    ss = [0.0] + [s for _, s in corners] + [corners[-1][1]]
    ad = cvm = 0.0
    for u0, u1, s0, s1 in zip(us, us[1:], ss, ss[1:]):
        if u1 <= u0:
            continue
        seen = lambda u: s0 + (s1 - s0) * (u - u0) / (u1 - u0)
        ad += quad(lambda u: (seen(u) - u) ** 2 / (u * (1 - u)), u0, u1, epsabs=1e-12, epsrel=1e-11, limit=400)[0]
        cvm += quad(lambda u: (seen(u) - u) ** 2, u0, u1, epsabs=1e-13, epsrel=1e-11)[0]
    return len(lives) * ad, len(lives) * cvm


def fast_ad(t, failed, shape, scale):
    """A2 of failures and suspensions watched from new, by the integral's closed form."""
    order = np.lexsort((~failed, t))
    t, failed = t[order], failed[order]
    n, seen, before, total = len(t), 0.0, 0.0, 0.0

    def piece(c, a, b):
        out = -(b - a)
        if c > 0:
            out += c * c * math.log(b / a)
        if c < 1:
            out += (1 - c) ** 2 * math.log((1 - a) / (1 - b))
        return out

    for i in range(n):
        u = -math.expm1(-((t[i] / scale) ** shape))
        if failed[i]:
            total += piece(seen, before, u)
            before, seen = u, 1 - (1 - seen) * (1 - 1 / (n - i))
        elif i == n - 1:
            total += piece(seen, before, u)
    if failed[-1]:
        total += piece(1.0, before, 1.0)
    return n * total


def fit(t, failed):
    r, x = failed.sum(), np.log(t)
    if r == 0 or (len(set(t[failed])) == 1 and t.max() <= t[failed].max()):
        return None
    x = x - x.max()

    def score(k):
        w = np.exp(k * x)
        return 1 / k + x[failed].mean() - (w * x).sum() / w.sum()

    k = brentq(score, 1e-3, 1e4, xtol=1e-12)
    return k, math.exp(math.log(np.exp(k * x).sum() / r) / k + np.log(t).max())


def p_value(lives, shape, scale, rng):
    t = np.array([lo for _, lo, _ in lives])
    failed = np.array([hi is not None for _, _, hi in lives])
    n, observed = len(t), fast_ad(t, failed, shape, scale)
    # Product-limit estimate of the usages at which items are taken away.
    kept, stops = 1.0, []
    for c in sorted(set(t[~failed])):
        at_risk = (t > c).sum() + (~failed & (t == c)).sum()
        stops.append((c, kept * (~failed & (t == c)).sum() / at_risk))
        kept *= 1 - (~failed & (t == c)).sum() / at_risk
    usages = np.array([c for c, _ in stops] + [np.inf])
    chances = np.array([m for _, m in stops] + [max(kept, 0.0)])
    beyond = done = 0
    while done < SAMPLES:
        life = scale * rng.weibull(shape, n)
        out = rng.choice(usages, n, p=chances / chances.sum())
        again = np.minimum(life, out), life <= out
        found = fit(*again)
        if found is None:
            continue
        done += 1
        beyond += fast_ad(*again, *found) >= observed
    return observed, beyond / SAMPLES


def main():
    rng = np.random.default_rng(715)
    for name, simulate in [("mle-diesel-fans", True), ("mle-nist-8413", True),
                           ("interval-inspections", False), ("truncation-delayed-entry", False)]:
        source = load(name)
        lives = unroll(source)
        value = {e["quantity"]: e["value"] for e in source["expect"]}
        shape, scale = value["shape"], value["scale"]
        ad, cvm = distances(lives, shape, scale)
        how = "computed: scipy quadrature in F with the case's maximum-likelihood parameters"
        expect = [
            {"quantity": "ad.weibull", "value": ad, "rel_tol": 1e-6, "origin": how},
            {"quantity": "cvm.weibull", "value": cvm, "rel_tol": 1e-6, "origin": how},
        ]
        if simulate:
            observed, p = p_value(lives, shape, scale, rng)
            assert abs(observed - ad) < 1e-8, (observed, ad)
            error = math.sqrt(p * (1 - p) * (1 / SAMPLES + 1 / THEIRS))
            expect.append({
                "quantity": "ad_p.weibull.simulated", "value": p, "rel_tol": 0,
                "abs_tol": round(3.5 * error, 5),
                "origin": f"simulated: numpy {np.__version__} default_rng(715), {SAMPLES} samples, "
                          f"removals from their product-limit estimate, parameters estimated each time; "
                          f"standard error of the difference {error:.4f}",
            })
        print(name, [(e["quantity"], e["value"], e.get("abs_tol")) for e in expect], flush=True)
        case = {
            "id": "goodness-" + name, "topic": "goodness-censored",
            "title": "Distance of " + source["title"] + " from its Weibull, and how often one as large comes",
            "source": source["source"] + "; tests/reference/scripts/goodness_censored.py",
            "unit": source["unit"], "data": source["data"], "expect": expect,
        }
        with open(os.path.join(HERE, f"goodness-{name}.json"), "w") as file:
            json.dump(case, file, indent=1)
            file.write("\n")


main()
