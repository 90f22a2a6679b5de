"""The restricted joint fit of tests/restricted_fit.rs, solved with numpy and scipy: same model, rows, weights and priors.

    fit_speed.py PROBLEM.json [RUNS]

The motor is linear between events, so every bin is one exact step (functions of the 2x2 matrix by its eigenvalues). All
perturbed parameter vectors of a Jacobian go through the bins together, as columns. Prints one JSON object.
"""
import json
import os
import sys
import time

# One core, as for the other side.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd
from scipy.optimize import least_squares

R, L, C, IC, GV = 0, 1, 2, 3, 4
VG, VZ, IG, IZ, SHUNT, POSITION, LOOP = 8, 9, 10, 11, 12, 13, 18
EMF, CURRENT = (19, 20), (21, 22, 23)
STILL = 1e-12


def phi(z):
    """phi1(z) = (e^z - 1)/z and phi2(z) = (phi1(z) - 1)/z, complex, without cancellation near zero."""
    small = np.abs(z) < 0.05
    safe = np.where(small, 1.0, z)
    one = np.where(small, 1 + z / 2 * (1 + z / 3 * (1 + z / 4 * (1 + z / 5 * (1 + z / 6 * (1 + z / 7))))), np.expm1(safe) / safe)
    two = np.where(small, 0.5 + z / 6 * (1 + z / 4 * (1 + z / 5 * (1 + z / 6 * (1 + z / 7 * (1 + z / 8))))), (one - 1) / safe)
    return one, two


def matrix_phi(a11, a12, a21, a22, h):
    """phi1(A h) h and phi2(A h) h as pairs of coefficients: c0 + c1 A."""
    half, det = 0.5 * (a11 + a22), a11 * a22 - a12 * a21
    q = np.sqrt((half * half - det).astype(complex))
    q = np.where(np.abs(q) < 1e-9 * np.abs(half), 1e-9 * np.abs(half) + 0j, q)
    out = []
    for at_p, at_m in zip(phi((half + q) * h), phi((half - q) * h)):
        c1 = (at_p - at_m) / (2 * q)
        out.append(((at_m - c1 * (half - q)).real * h, c1.real * h))
    return out


class Motor:
    def __init__(self, r, l, c, ic, gv):
        self.r, self.l, self.c, self.ic, self.gv = r, l, c, ic, gv

    def take(self, columns):
        return Motor(*(v[columns] for v in (self.r, self.l, self.c, self.ic, self.gv)))

    def turning(self, i, e, v, sign, h):
        """End and mean of current and back-EMF after h seconds of rotation with this sign."""
        a11, a12, a21, a22 = -self.r / self.l, -1 / self.l, 1 / self.c, -self.gv / self.c
        f1, f2 = (v - self.r * i - e) / self.l, (i - self.ic * sign - self.gv * e) / self.c
        g1, g2 = a11 * f1 + a12 * f2, a21 * f1 + a22 * f2
        (p0, p1), (m0, m1) = matrix_phi(a11, a12, a21, a22, h)
        return i + p0 * f1 + p1 * g1, e + p0 * f2 + p1 * g2, i + m0 * f1 + m1 * g1, e + m0 * f2 + m1 * g2

    def still(self, i, e, v, h):
        a = -self.r / self.l
        f = (v - self.r * i - e) / self.l
        one, two = phi(a * h + 0j)
        return i + one.real * h * f, e + 0 * i, i + two.real * h * f, e + 0 * i

    def sign(self, i, e):
        """Direction of rotation; 0 where friction holds the rotor."""
        return np.where(np.abs(e) > STILL, np.sign(e), np.where(np.abs(i) > self.ic, np.sign(i), 0.0))

    def move(self, i, e, v, s, h):
        """As `turning` where s is not 0, else as `still`."""
        turning, still = self.turning(i, e, v, s, h), self.still(i, e, v, h)
        return tuple(np.where(s != 0, t, q) for t, q in zip(turning, still))

    def event(self, i, e, s):
        """Falls below 0 where the rotor has stopped or broken away."""
        return np.where(s != 0, e * s, self.ic - np.abs(i))

    def step(self, i, e, v, h):
        """One bin, with the instants at which the rotor stops or breaks away. All arguments have one entry a column."""
        s = self.sign(i, e)
        end = [np.array(x) for x in self.move(i, e, v, s, h)]
        passed = (self.event(end[0], end[1], s) < 0) & ~((s != 0) & (np.abs(e) <= STILL))
        at = np.flatnonzero(passed)
        if len(at):
            part = self.take(at)
            i0, e0, v0, s0, h0 = i[at], e[at], v[at], s[at], h[at]
            low, high = np.zeros(len(at)), h0.copy()
            while np.any(high - low >= 1e-9 * h0):
                middle = 0.5 * (low + high)
                now = part.move(i0, e0, v0, s0, middle)
                before = part.event(now[0], now[1], s0) >= 0
                low, high = np.where(before, middle, low), np.where(before, high, middle)
            t = 0.5 * (low + high)
            i1, e1, mi, me = part.move(i0, e0, v0, s0, t)
            i1 = np.where(s0 != 0, i1, i1 + 1e-9 * np.maximum(part.ic, 1e-12) * np.sign(i1))
            e1 = np.where(s0 != 0, 0.0, e1)
            rest = part.step(i1, e1, v0, h0 - t)
            w = t / h0
            for k, value in enumerate((rest[0], rest[1], w * mi + (1 - w) * rest[2], w * me + (1 - w) * rest[3])):
                end[k][at] = value
        return end


def connected(motor, i, e, v, h, held):
    """Means over the bins of a closed loop: v has one row a bin and one column a parameter vector."""
    n, m = v.shape
    mean_i, mean_e = np.empty((n, m)), np.empty((n, m))
    steps = None
    k = 0
    while k < n:
        s = np.zeros(m) if held else motor.sign(i, e)
        if np.all(s == s[0]):
            if s[0] and steps is None:
                steps = Steps(motor, h)
            if s[0]:
                i1, e1, mi, me = steps.turning(k, i, e, v[k], s[0])
                good = np.all(e1 * s[0] >= 0) or np.all(np.abs(e) <= STILL)
            else:
                i1, e1, mi, me = motor.still(i, e, v[k], h[k])
                good = held or np.all(np.abs(i1) <= motor.ic)
            if good:
                i, e, mean_i[k], mean_e[k] = i1, e1, mi, me
                k += 1
                continue
        i, e, mean_i[k], mean_e[k] = motor.step(i, e, v[k], np.full(m, h[k]))
        k += 1
    return i, e, mean_i, mean_e


class Steps:
    """The matrix functions of every bin of a leg at once."""

    def __init__(self, motor, h):
        self.a = (-motor.r / motor.l, -1 / motor.l, 1 / motor.c, -motor.gv / motor.c)
        self.motor = motor
        (self.p0, self.p1), (self.m0, self.m1) = matrix_phi(*(x[None, :] for x in self.a), h[:, None])

    def turning(self, k, i, e, v, sign):
        a11, a12, a21, a22 = self.a
        f1 = (v - e) / self.motor.l + a11 * i
        f2 = (i - self.motor.ic * sign) / self.motor.c + a22 * e
        g1, g2 = a11 * f1 + a12 * f2, a21 * f1 + a22 * f2
        p0, p1, m0, m1 = self.p0[k], self.p1[k], self.m0[k], self.m1[k]
        return i + p0 * f1 + p1 * g1, e + p0 * f2 + p1 * g2, i + m0 * f1 + m1 * g1, e + m0 * f2 + m1 * g2


def run_down(motor, i, e, h, held):
    """Back-EMF at the end of and its mean over every bin under imposed currents (one row a bin)."""
    n, m = i.shape
    ends, means = np.empty((n, m)), np.empty((n, m))
    a = -motor.gv / motor.c
    one, two = (x.real for x in phi(a[None, :] * h[:, None] + 0j))
    for k in range(n):
        if held:
            ends[k] = means[k] = e
            continue
        s = motor.sign(i[k], e)
        f = (i[k] - motor.ic * s - motor.gv * e) / motor.c * h[k]
        end, mean = e + one[k] * f, e + two[k] * f
        if np.any(s == 0) or np.any(end * s < 0):
            stops = (s != 0) & (end * s < 0)
            part = np.where(stops, e / np.where(stops, e - end, 1.0), 0.0)
            mean = np.where(s == 0, 0.0, np.where(stops, 0.5 * part * e, mean))
            end = np.where((s == 0) | stops, 0.0, end)
        e = ends[k] = end
        means[k] = mean
    return e, means


def predict(model, X):
    """Predicted rows, one column a parameter vector."""
    m = X.shape[1]
    local = lambda d: sum((f * X[k] for k, f in model["links"][d]), np.zeros(m))
    winding = np.exp(local(R)) * model["resistance_ratio"] * (1 + local(POSITION))
    motor = Motor(
        winding + (1 + local(SHUNT)) * model["series_ohm"] + local(LOOP),
        np.exp(local(L)), np.exp(local(C)), local(IC), local(GV))
    gain_v, zero_v, gain_i, zero_i = np.exp(local(VG)), local(VZ), np.exp(local(IG)), local(IZ)
    held, lag = model["held"], model["current_lag_s"]
    kinds = [leg["kind"] for leg in model["legs"]]
    known = held or kinds[0] == "rest"
    emfs, currents = iter(EMF), iter(CURRENT)
    i, e = np.zeros(m), np.zeros(m)
    out = []
    zeros = {(row[0], row[2]) for row in model["rows"] if row[1] == "zero"}
    last = 0.0
    for number, (leg, kind) in enumerate(zip(model["legs"], kinds)):
        if not known and kind in ("connected", "open"):
            which = next(emfs, None)
            if which is None or not model["links"][which]:
                break
            e, known = local(which), True
        h, volts, amperes = leg["h"], leg["v"], leg["i"]
        if kind == "rest":
            i, e, known = np.zeros(m), np.zeros(m), True
            out += [z for q, z in (("voltage", zero_v), ("current", zero_i)) if (number, q) in zeros]
        elif kind == "lost":
            known = held
        elif kind == "carried":
            given = (amperes[:, None] - zero_i) / gain_i
            e, _ = run_down(motor, given, e, h, held)
            i = given[-1]
        elif kind == "connected":
            which = next(currents, None)
            if which is None or not model["links"][which]:
                break
            i = local(which)
            filled = pd.Series(np.r_[last, volts]).ffill().to_numpy()[1:]
            last = filled[-1]
            first = i
            i, e, mean_i, _ = connected(motor, i, e, (filled[:, None] - zero_v) / gain_v, h, held)
            if lag is not None:
                ratio = h / lag
                kept = np.exp(-ratio)
                seen, lagged = np.empty_like(mean_i), first
                for k in range(len(h)):
                    difference = lagged - mean_i[k]
                    lagged = mean_i[k] + difference * kept[k]
                    seen[k] = mean_i[k] + difference * ((1 - kept[k]) / ratio[k])
                mean_i = seen
            rows = np.flatnonzero(np.isfinite(amperes[: leg["compared"]]))
            out += list(gain_i * mean_i[rows] + zero_i)
        else:
            i = np.zeros(m)
            e, means = run_down(motor, np.zeros((len(h), m)), e, h, held)
            rows = np.flatnonzero(np.isfinite(volts[: leg["compared"]]))
            out += list(gain_v * means[rows] + zero_v)
            if (number, "current") in zeros:
                out.append(zero_i)
    return np.array(out)


def main():
    problem = json.load(open(sys.argv[1]))
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    free = np.array(problem["free"])
    start = np.array(problem["start"])
    for model in problem["models"]:
        for leg in model["legs"]:
            leg["h"], leg["v"], leg["i"] = (np.array(leg[k], float) for k in ("width_s", "voltage_v", "current_a"))
    recorded = [np.array([row[3] for row in m["rows"]]) for m in problem["models"]]
    deviation = [np.array([row[4] for row in m["rows"]]) for m in problem["models"]]
    priors = [(n, k, *problem["priors"][k]) for n, k in enumerate(free) if problem["priors"][k]]
    # The entries are scaled so that all derivatives are of one size.
    scale = np.array(problem["uncertainties"])

    def residuals(Z):
        X = np.repeat(start[:, None], Z.shape[1], axis=1)
        X[free] += Z * scale[:, None]
        parts = [(predict(m, X) - r[:, None]) / d[:, None] for m, r, d in zip(problem["models"], recorded, deviation)]
        parts.append(np.array([(X[k] - mean) / sd for _, k, mean, sd in priors]))
        return np.concatenate(parts)

    def jacobian(z):
        step = 1e-3
        n = len(z)
        all_at_once = residuals(z[:, None] + step * np.hstack([np.eye(n), -np.eye(n)]))
        return (all_at_once[:, :n] - all_at_once[:, n:]) / (2 * step)

    check = np.array(problem["solution"])
    # Same model: at their solution both predict the same rows.
    X = check[:, None]
    apart = max(
        np.max(np.abs(predict(m, X)[:, 0] - np.array([row[5] for row in m["rows"]])) / d)
        for m, d in zip(problem["models"], deviation))
    seconds = []
    for _ in range(runs):
        begun = time.perf_counter()
        low = np.array([-np.inf if b is None else b for b in problem["lower"]])
        found = least_squares(
            lambda z: residuals(z[:, None])[:, 0], np.zeros(len(free)), jacobian, method="trf",
            bounds=((low - start[free]) / scale, np.inf), xtol=1e-12, ftol=1e-14, gtol=1e-7)
        covariance = np.linalg.inv(found.jac.T @ found.jac)
        seconds.append(time.perf_counter() - begun)
    x = start[free] + found.x * scale
    table = pd.DataFrame({
        "entry": problem["names"],
        "scipy": x,
        "rundown": check[free],
        "apart_in_u": (x - check[free]) / scale,
        "u_ratio": np.sqrt(np.diag(covariance)),
    })
    print(table.to_string(), file=sys.stderr)
    print(json.dumps({
        "rows": int(sum(map(len, recorded))),
        "entries": len(free),
        "evaluations": int(found.nfev),
        "largest_row_difference_in_deviations": float(apart),
        "cost_scipy": float(found.cost),
        "cost_rundown": problem["cost"],
        "largest_difference_in_uncertainties": float(table.apart_in_u.abs().max()),
        "largest_relative_difference_of_uncertainties": float((table.u_ratio - 1).abs().max()),
        "seconds_scipy": float(np.median(seconds)),
        "seconds_rundown": problem["seconds"],
        "ratio": float(np.median(seconds) / problem["seconds"]),
    }))


main()
