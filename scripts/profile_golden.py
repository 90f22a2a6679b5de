"""Profile-likelihood intervals of an exponential decay by a general-purpose fitting library, as golden values.

    scripts/profile_golden        writes fixtures/profile/decay.json

Data, model and result go into one file, so that the test needs neither network nor Python.
"""
import json, random, sys
import iminuit

random.seed(20)
t = [0.1 * k for k in range(14)]
sd = 0.15
y = [2.0 * 2.718281828459045 ** (-1.7 * s) + 0.4 + random.gauss(0, sd) for s in t]


def chi_squared(a, rate, level):
    return sum(((a * 2.718281828459045 ** (-rate * s) + level - v) / sd) ** 2 for s, v in zip(t, y))


chi_squared.errordef = iminuit.Minuit.LEAST_SQUARES
minuit = iminuit.Minuit(chi_squared, a=2.0, rate=1.5, level=0.3)
minuit.tol = 1e-8
minuit.migrad()
minuit.hesse()
minuit.minos(cl=0.95)
assert minuit.valid
out = {
    "made_by": f"iminuit {iminuit.__version__}, Minuit.minos(cl=0.95)",
    "model": "a exp(-rate t) + level, standard deviation sd",
    "t": t,
    "y": y,
    "sd": sd,
    "chi_squared": minuit.fval,
    "parameters": {
        name: {
            "value": minuit.values[name],
            "below": -minuit.merrors[name].lower,
            "above": minuit.merrors[name].upper,
        }
        for name in ("a", "rate", "level")
    },
}
with open(sys.argv[1], "w") as file:
    json.dump(out, file, indent=1)
    file.write("\n")
