"""Writes a start from rest of many rows as an oscilloscope exports it: time, volts, amperes, as decimal text.

    large_capture.py PATH ROWS
"""
import sys
import numpy as np

path, rows = sys.argv[1], int(sys.argv[2])
rng = np.random.default_rng(7)
duration, make = 1.0, 0.05
step = duration / rows
R, L, K, J, B, Tc, U = 0.9, 4e-4, 0.021, 7e-6, 2e-6, 3e-3, 12.1
# Exact response of the linear model, friction constant while turning.
a = np.array([[-R / L, -K / L], [K / J, -B / J]])
steady = np.linalg.solve(a, -np.array([U / L, -Tc / J]))
values, vectors = np.linalg.eig(a)
weights = np.linalg.solve(vectors, -steady)
with open(path, "w") as out:
    out.write("time (s),supply (V),current (A)\n")
    for first in range(0, rows, 250_000):
        k = np.arange(first, min(rows, first + 250_000))
        t = -make + k * step
        on = t >= 0
        i = np.where(on, (vectors[0][:, None] * weights[:, None] * np.exp(values[:, None] * np.where(on, t, 0))).sum(0).real + steady[0], 0)
        v = np.where(on, U - 0.02 * i, 0.0)
        v = np.round((v + rng.normal(0, 0.03, k.size)) / 0.00390625) * 0.00390625
        i = np.round((i + rng.normal(0, 0.03, k.size)) / 0.00390625) * 0.00390625
        out.write("".join(f"{a:.9f},{b:.8e},{c:.8e}\n" for a, b, c in zip(t.tolist(), v.tolist(), i.tolist())))
