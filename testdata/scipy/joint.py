"""The joint problem of several takes of a coil, written a second time in NumPy
and minimised by SciPy's least_squares (MINPACK) with a numerical Jacobian.

    joint.py fit  PROBLEM.json             prints minimum and covariance as JSON
    joint.py time PROBLEM.json RUNS        prints the least CPU time of one fit in
                                           s, with MINPACK's own Jacobian and
                                           SciPy's own tolerances

A problem holds the takes (frequency, response, variance), which part hangs on
the coil in which take, Gaussian priors on named parameters, and a start.
"""
import json
import sys
import time

import numpy as np
import scipy
from scipy.optimize import least_squares
from scipy.special import expit, ive

EDGE_HZ = 20e3


class Joint:
    def __init__(self, problem):
        self.names = problem["parameters"]
        self.start = np.array(problem["start"])
        self.rings, self.cylinder, self.cover = problem["rings"], problem["cylinder"], problem["cover"]
        self.where = {name: i for i, name in enumerate(self.names)}
        takes = problem["takes"]
        # All takes in one long array; self.take says which one a point is of.
        join = lambda key: np.concatenate([t[key] for t in takes])
        self.take = np.concatenate([np.full(len(t["frequency_hz"]), i) for i, t in enumerate(takes)])
        self.s = 2j * np.pi * join("frequency_hz")
        self.measured = join("re") + 1j * join("im")
        # The variance is that of both components together.
        self.weight = np.sqrt(2 / join("variance"))
        self.polarity = np.array([t["polarity"] for t in takes])
        self.takes = takes
        x = join("frequency_hz") / EDGE_HZ
        self.edge = np.array([x**2, x**4, x**6, 1j * x**3, 1j * x**5, 1j * x**7])
        self.card = not all(t["referenced"] for t in takes)
        if self.card:
            assert not any(t["referenced"] for t in takes)
        self.prior = np.zeros((len(problem["priors"]), len(self.names)))
        for row, p in zip(self.prior, problem["priors"]):
            for name, factor in p["terms"].items():
                row[self.where[name]] = factor / p["u"]
        self.meters = [(i, p["meter"], p["u"]) for i, p in enumerate(problem["priors"]) if "meter" in p]
        self.prior_mean = np.array([p["mean"] / p["u"] for p in problem["priors"]])

    def get(self, x, name):
        return x[self.where[name]]

    def shares(self, x):
        """Pieces broken off a stick of length 1, one after the other."""
        left, out = 1.0, []
        for k in range(self.rings):
            piece = left * expit(self.get(x, f"piece {k + 1}"))
            out.append(piece)
            left -= piece
        return out

    def part(self, x, index):
        return np.exp(self.get(x, f"ln part {index}"))

    def series(self, x, s, drift=0.0):
        """R + s L(s); drift is that of ln R."""
        form = np.ones_like(s)
        for k, share in enumerate(self.shares(x)):
            form += share * (1 / (1 + s * np.exp(self.get(x, f"ln t {k + 1}"))) - 1)
        if self.cylinder:
            q = np.sqrt(s * np.exp(self.get(x, "ln t cylinder")))
            form += expit(self.get(x, "piece cylinder")) * (2 * ive(1, q) / (q * ive(0, q)) - 1)
        return np.exp(self.get(x, "ln R") + drift) + s * np.exp(self.get(x, "ln L")) * form

    def shown(self, x, hz, parallel):
        """The inductance that a meter shows of the coil without its fixture."""
        s = np.array([2j * np.pi * hz])
        own = np.exp(self.get(x, "ln C")) - self.part(x, self.takes[0]["fixture_c"])
        z = 1 / (1 / self.series(x, s) + s * own)
        w = 2 * np.pi * hz
        return (-1 / (w * (1 / z).imag) if parallel else z.imag / w)[0]

    def model(self, x):
        s = self.s
        drift = np.array([self.get(x, f"drift {i}") if f"drift {i}" in self.where else 0.0 for i in range(len(self.takes))])
        series = self.series(x, s, drift[self.take])
        siemens, farad, loss = [], [], []
        for t in self.takes:
            g = 1 / self.part(x, t["load"])
            c = np.exp(self.get(x, "ln C"))
            lost = 0.0
            for r in t["added_r"]:  # in parallel; -1: none
                if r >= 0:
                    g += 1 / self.part(x, r)
            for k in t["added_c"]:
                if k >= 0:
                    c += self.part(x, k)
                    lost += self.part(x, k) * self.get(x, f"loss {k}") if f"loss {k}" in self.where else 0.0
            loss.append(lost)
            if t["fixture_c"] != self.takes[0]["fixture_c"]:
                c += self.part(x, t["fixture_c"]) - self.part(x, self.takes[0]["fixture_c"])
            siemens.append(g)
            farad.append(c)
        # A dissipation factor d, the same at all frequencies: the phase of C (s/w1)^(-2 d/pi), to first order.
        lossy = -2 / np.pi * s * np.log(s / (2 * np.pi * 1000))
        across = 1 / (np.array(siemens)[self.take] + s * np.array(farad)[self.take] + lossy * np.array(loss)[self.take])
        h = across / (across + series)
        if self.cover:
            h /= 1 + s * np.exp(self.get(x, "ln t cover"))
        numbers = range(len(self.takes))
        gain = self.polarity * np.exp([self.get(x, f"ln gain {i}") for i in numbers])
        delay = 1e-6 * np.array([self.get(x, f"delay {i}") for i in numbers])
        if self.card:
            for k in (1, 2):
                h *= s / (s + np.exp(self.get(x, f"ln corner {k}")))
            edge = np.array([self.get(x, f"edge {k + 1}") for k in range(len(self.edge))])
            return h * gain[self.take] * np.exp(edge @ self.edge - s * delay[self.take])
        return h * gain[self.take] * np.exp(-s * delay[self.take])

    def residuals(self, x):
        d = (self.model(x) - self.measured) * self.weight
        known = self.prior @ x - self.prior_mean
        for row, meter, u in self.meters:
            known[row] += np.log(self.shown(x, **meter)) / u
        return np.concatenate([d.real, d.imag, known])

    def quantities(self, x):
        """Physical parameters in SI units, in the order of the covariance."""
        out = {}
        for name, value in zip(self.names, x):
            if name.startswith("ln "):
                out[name] = np.exp(value)
            elif name.startswith("piece "):
                out[name] = expit(value)
            else:
                out[name] = value
        for k, share in enumerate(self.shares(x)):
            out[f"share {k + 1}"] = share
        return out


def jacobian(joint, x):
    """Central differences of fourth order; every parameter has a scale of 1."""
    h = 1e-3
    out = []
    for k in range(len(x)):
        at = lambda steps: joint.residuals(x + h * steps * (np.arange(len(x)) == k))
        out.append((8 * (at(1) - at(-1)) - (at(2) - at(-2))) / (12 * h))
    return np.transpose(out)


def fit(joint):
    """To the last digit, for which MINPACK's forward differences are too rough."""
    return least_squares(joint.residuals, joint.start, lambda x: jacobian(joint, x), method="lm", x_scale="jac",
                         ftol=1e-15, xtol=1e-15, gtol=1e-15)


def main():
    with open(sys.argv[2]) as f:
        joint = Joint(json.load(f))
    if sys.argv[1] == "time":
        best, cost, calls = np.inf, 0, 0
        for _ in range(int(sys.argv[3])):
            begin = time.process_time()
            r = least_squares(joint.residuals, joint.start, method="lm", x_scale="jac")
            best = min(best, time.process_time() - begin)
            cost, calls = 2 * r.cost, r.nfev
        print(f"{best:.6f} s, sum of squares {cost:.9g}, {calls} evaluations")
        return
    r = fit(joint)
    _, sizes, vt = np.linalg.svd(r.jac, full_matrices=False)
    covariance = (vt.T / sizes**2) @ vt
    value = {k: float(v) for k, v in joint.quantities(r.x).items()}
    rows = ",\n  ".join(json.dumps([float(f"{c:.9g}") for c in row]) for row in covariance)
    print(f"""{{
"made_with": "joint.py with NumPy {np.__version__}, SciPy {scipy.__version__}",
"sum_squares": {2 * r.cost!r},
"value": {json.dumps(value)},
"parameters": {json.dumps(joint.names)},
"covariance": [
  {rows}
]
}}""")


if __name__ == "__main__":
    main()
