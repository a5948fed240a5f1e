#!/usr/bin/env python3
"""Partial pooling by brute force: the values in tests/reference/partial-pooling-*.json.

Weibull lives in groups: common shape k, ln scale of group g ~ N(m, tau^2), m flat,
ln k ~ N(ln 2, 0.6^2); with probability 1/2 tau = 0, else tau half-normal (scale 0.5),
cut at 2.0.

Nothing is shared with the program under test: Gauss-Legendre in ln k, tau and m,
Gauss-Hermite (tau small) or Gauss-Legendre in each group's ln scale, densities of ln scale
as splines. Doubling every number of nodes moves no value by more than the tolerance / 10.
Needs numpy and scipy. Run: python3 partial_pooling.py (writes beside the reference cases).
"""
import json
import os
import sys

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from scipy.special import logsumexp

CASES = {
    "thin": [
        [("failure", 900.0), ("failure", 2100.0), ("suspension", 1500.0)],
        [("failure", 700.0), ("suspension", 800.0), ("failure", 1300.0), ("failure", 1750.0)],
        [("failure", 2600.0), ("suspension", 3100.0)],
        [("suspension", 1200.0), ("suspension", 2000.0)],
    ],
    "wide": [
        [("failure", 310.0), ("failure", 420.0), ("failure", 505.0)],
        [("failure", 1500.0), ("failure", 1900.0), ("interval", 1200.0, 2500.0)],
        [("failure", 800.0), ("suspension", 1100.0), ("failure", 1000.0)],
        [("failure", 640.0), ("failure", 980.0), ("entry", 300.0, 700.0)],
        [("interval", 0.0, 900.0), ("failure", 720.0)],
    ],
}


def ln_likelihood(group, a, k):
    """Log-likelihood of a group at arrays of ln scale a."""
    total = np.zeros_like(a)
    hazard = lambda t: np.exp(np.minimum(k * (np.log(t) - a), 700.0))
    for life in group:
        kind, t = life[0], life[1]
        if kind == "failure":
            total += np.log(k) - np.log(t) + k * (np.log(t) - a) - hazard(t)
        elif kind == "suspension":
            total -= hazard(t)
        elif kind == "entry":  # watched from the first usage, failed at the second
            t0, t = life[1], life[2]
            total += np.log(k) - np.log(t) + k * (np.log(t) - a) - hazard(t) + hazard(t0)
        else:
            lo, hi = life[1], life[2]
            low = hazard(lo) if lo > 0 else 0.0 * a
            gap = np.maximum(hazard(hi) - low, 1e-300)
            total += -low + np.log(-np.expm1(-gap))
    return total


def legendre(n, lo, hi):
    x, w = np.polynomial.legendre.leggauss(n)
    return 0.5 * (hi - lo) * x + 0.5 * (hi + lo), 0.5 * (hi - lo) * w


def solve(groups, scale=1):
    fails = [sum(l[0] != "suspension" for l in g) for g in groups]
    b_nodes, b_w = legendre(80 * scale, np.log(2) - 3.0, np.log(2) + 3.0)
    tau_nodes, tau_w = [], []
    for lo, hi in [(0.0, 0.03), (0.03, 0.1), (0.1, 0.3), (0.3, 0.8), (0.8, 2.0)]:
        x, w = legendre(6 * scale, lo, hi)
        tau_nodes.append(x)
        tau_w.append(w)
    tau_nodes, tau_w = np.concatenate(tau_nodes), np.concatenate(tau_w)
    half = np.sqrt(2 / np.pi) / 0.5 * np.exp(-0.5 * (tau_nodes / 0.5) ** 2)
    slab = tau_w * half
    tau_all = np.concatenate([[0.0], tau_nodes])
    tau_prior = np.concatenate([[0.5], 0.5 * slab / slab.sum()])

    usages = np.array([max(l[1:]) for g in groups for l in g])
    middle = np.log(usages).mean()
    herm_x, herm_w = np.polynomial.hermite.hermgauss(48 * scale)
    few_x, few_w = np.polynomial.hermite.hermgauss(16 * scale)
    grid = np.linspace(middle - 8.0, middle + 14.0, 2201 * scale)  # for the densities
    parts = []  # (ln weight, b, tau)
    tables = {}  # (ib, j) -> density over grid, summed over tau
    logs = []
    for ib, b in enumerate(b_nodes):
        k = np.exp(b)
        ln_prior = -0.5 * ((b - np.log(2)) / 0.6) ** 2 + np.log(b_w[ib])
        own_grid = [ln_likelihood(g, grid, k) for g in groups]

        def parts_at(m, tau):
            """ln M_g at the centres m, group by group."""
            if tau < 0.25 / k:
                a = m[:, None] + np.sqrt(2) * tau * herm_x[None, :]
                weights = np.log(herm_w / np.sqrt(np.pi))
                return [
                    logsumexp(ln_likelihood(g, a.ravel(), k).reshape(a.shape) + weights, axis=1)
                    for g in groups
                ]
            # A sum over the grid, as a product of matrices.
            normal = np.exp(-0.5 * ((grid[None, :] - m[:, None]) / tau) ** 2)
            normal *= (grid[1] - grid[0]) / (tau * np.sqrt(2 * np.pi))
            out = []
            for value in own_grid:
                top = value.max()
                out.append(top + np.log(np.maximum(normal @ np.exp(value - top), 1e-300)))
            return out

        for it, tau in enumerate(tau_all):
            if tau == 0.0:
                together = sum(own_grid)
                ln_mass = logsumexp(together) + np.log(grid[1] - grid[0])
                dens = [together] * len(groups)
            else:
                # Where the centre matters, first roughly, then with a Gauss rule.
                rough = np.linspace(middle - 6.0, middle + 10.0, 161)
                whole = sum(parts_at(rough, tau))
                seen = rough[whole > whole.max() - 32]
                m, m_w = [], []
                edges = np.linspace(seen[0] - 0.1, seen[-1] + 0.1, 7)
                for lo, hi in zip(edges[:-1], edges[1:]):
                    x, w = legendre(16 * scale, lo, hi)
                    m.append(x)
                    m_w.append(w)
                m, m_w = np.concatenate(m), np.concatenate(m_w)
                ln_parts = parts_at(m, tau)
                whole = sum(ln_parts)
                ln_mass = logsumexp(whole + np.log(m_w))
                dens = []
                if tau < 0.25 / k:
                    # A narrow normal curve over a smooth one: Gauss-Hermite on its spline.
                    even = np.linspace(seen[0] - 0.3, seen[-1] + 0.3, 301)
                    parts_even = parts_at(even, tau)
                    at = grid[:, None] + np.sqrt(2) * tau * few_x[None, :]
                    w_at = few_w / few_w.sum()
                for j in range(len(groups)):
                    if tau < 0.25 / k:
                        smooth = CubicSpline(even, sum(parts_even) - parts_even[j])
                        value = np.where((at > even[0]) & (at < even[-1]), smooth(at), -np.inf)
                        top = value.max()
                        mixed = np.exp(value - top) @ w_at
                        dens.append(own_grid[j] + top + np.log(np.maximum(mixed, 1e-300)))
                        continue
                    rest = whole - ln_parts[j] + np.log(m_w)
                    near = rest > rest.max() - 30
                    normal = np.exp(-0.5 * ((grid[:, None] - m[None, near]) / tau) ** 2)
                    normal /= tau * np.sqrt(2 * np.pi)
                    top = rest.max()
                    from_siblings = normal @ np.exp(rest[near] - top)
                    dens.append(own_grid[j] + top + np.log(np.maximum(from_siblings, 1e-300)))
            w = ln_prior + np.log(tau_prior[it]) + ln_mass
            parts.append((w, ib, it))
            logs.append([d + ln_prior + np.log(tau_prior[it]) for d in dens])
    total = logsumexp([p[0] for p in parts])
    weight = np.array([np.exp(p[0] - total) for p in parts])
    tau_of = np.array([tau_all[p[2]] for p in parts])
    b_of = np.array([b_nodes[p[1]] for p in parts])
    out = {
        "no_difference": weight[tau_of == 0].sum(),
        "spread.mean": (weight * tau_of).sum(),
        "shape.mean_ln": (weight * b_of).sum(),
    }
    for j, group in enumerate(groups):
        borrowed = 0.0
        for w, b, tau in zip(weight, b_of, tau_of):
            k = np.exp(b)
            var = [1 / (r * k * k) + tau * tau if r else np.inf for r in fails]
            if fails[j] == 0:
                borrowed += w
                continue
            drawn = (1 / (fails[j] * k * k)) / var[j]
            borrowed += w * drawn * (1 - (1 / var[j]) / sum(1 / v for v in var))
        out[f"group{j}.borrowed"] = borrowed
        mean_a = 0.0
        curves = []
        for ib, b in enumerate(b_nodes):
            here = [n for n, p in enumerate(parts) if p[1] == ib]
            density = np.exp(logsumexp([logs[n][j] for n in here], axis=0) - total)
            mean_a += (density * grid).sum() * (grid[1] - grid[0])
            curves.append(CubicSpline(grid, density).antiderivative())
        ln10 = np.log(-np.log(0.9))
        out[f"group{j}.b10.mean_ln"] = mean_a + (weight * ln10 / np.exp(b_of)).sum()

        def cdf(x):
            return sum(
                float(c(np.clip(x - ln10 / np.exp(b), grid[0], grid[-1])))
                for c, b in zip(curves, b_nodes)
            )

        for name, q in [("lower", 0.05), ("median", 0.5), ("upper", 0.95)]:
            x = brentq(lambda x: cdf(x) - q, grid[0], grid[-1] - 1, xtol=1e-10)
            out[f"group{j}.b10.{name}"] = np.exp(x)
    return out


def life(entry):
    kind = entry[0]
    if kind == "interval":
        lo, hi = entry[1], entry[2]
        return {"entry": None, "lo": lo, "hi": hi, "outcome": "interval", "count": 1}
    if kind == "entry":
        return {"entry": entry[1], "lo": entry[2], "hi": entry[2], "outcome": "failure", "count": 1}
    hi = entry[1] if kind == "failure" else None
    return {"entry": None, "lo": entry[1], "hi": hi, "outcome": kind, "count": 1}


def main():
    folder = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..")
    scale = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    for name, groups in CASES.items():
        found = solve(groups, scale)
        if scale > 1:
            print(name, json.dumps(found, indent=1))
            continue
        case = {
            "id": f"partial-pooling-{name}",
            "topic": "partial-pooling",
            "title": "Groups with a common shape and normal ln scales, spread and shape integrated out",
            "source": "constructed",
            "unit": "hours",
            "data": {"groups": [[life(entry) for entry in group] for group in groups]},
            "expect": [
                {
                    "quantity": quantity,
                    "value": float(value),
                    "rel_tol": 1e-3,
                    "abs_tol": 1e-3 if value < 1.5 else None,
                    "origin": "computed: numpy, scipy (tests/reference/scripts/partial_pooling.py)",
                    "note": None,
                }
                for quantity, value in found.items()
            ],
        }
        with open(os.path.join(folder, f"partial-pooling-{name}.json"), "w") as out:
            json.dump(case, out, indent=1)
            out.write("\n")


if __name__ == "__main__":
    main()
