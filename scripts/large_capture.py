"""Writes a capture of many rows as an oscilloscope exports it: time, volts, amperes, as decimal text.

    large_capture.py PATH ROWS [start | rundown | brake]
"""
import sys

import numpy as np

path, rows = sys.argv[1], int(sys.argv[2])
kind = sys.argv[3] if len(sys.argv) > 3 else "start"
rng = np.random.default_rng(7)
duration, event = 1.0, 0.05
step = duration / rows
R, L, K, J, B, Tc, U = 0.9, 4e-4, 0.021, 7e-6, 2e-6, 3e-3, 12.1
CODE = 0.00390625
# Exact response of the linear model, friction constant while it turns: current and speed.
a = np.array([[-R / L, -K / L], [K / J, -B / J]])
running = np.linalg.solve(a, -np.array([U / L, -Tc / J]))


def response(t, begin, volts):
    steady = np.linalg.solve(a, -np.array([volts / L, -Tc / J]))
    values, vectors = np.linalg.eig(a)
    weights = np.linalg.solve(vectors, np.array(begin) - steady)
    both = (vectors[:, :, None] * weights[None, :, None] * np.exp(values[None, :, None] * t)).sum(1).real + steady[:, None]
    return both[0], both[1]


def traces(t):
    after = np.maximum(t, 0.0)
    on = t >= 0
    if kind == "start":
        i, _ = response(after, [0.0, 0.0], U)
        i = np.where(on, i, 0.0)
        return np.where(on, U - 0.02 * i, 0.0), i
    if kind == "rundown":
        drag = Tc / B
        speed = np.maximum((running[1] + drag) * np.exp(-B / J * after) - drag, 0.0)
        return np.where(on, K * speed, U), np.where(on, 0.0, running[0])
    i, speed = response(after, [0.0, running[1]], 0.0)
    turns = speed > 0
    return np.where(on, 0.0, K * running[1]), np.where(on & turns, i, 0.0)


with open(path, "w") as out:
    out.write("time (s),supply (V),current (A)\n")
    for first in range(0, rows, 250_000):
        t = -event + np.arange(first, min(rows, first + 250_000)) * step
        coded = [np.round((x + rng.normal(0, 0.03, t.size)) / CODE) * CODE for x in traces(t)]
        out.write("".join(f"{t:.9f},{v:.8e},{i:.8e}\n" for t, v, i in zip(t.tolist(), *map(np.ndarray.tolist, coded))))
