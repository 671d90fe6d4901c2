"""Reference values of the solid cylinder's shape F(z) = 2 I1(q)/(q I0(q)),
q = sqrt(z), and dF/dz, from SciPy's scaled Bessel functions (AMOS), and
least-squares fits of one to four rings to it.

    /usr/bin/python3 cylinder.py

writes shape.csv and rings.csv beside this file.
"""
import os

import numpy as np
import scipy
from scipy.optimize import least_squares
from scipy.special import ive

HERE = os.path.dirname(os.path.abspath(__file__))
MADE = f"# made by cylinder.py with NumPy {np.__version__}, SciPy {scipy.__version__}\n"


def shape(z):
    q = np.sqrt(np.asarray(z, complex))
    i0, i1, i2 = ive(0, q), ive(1, q), ive(2, q)
    # d(I1/q)/dq = I2/q, I0' = I1: no cancellation at small q.
    return 2 * i1 / (q * i0), (i2 / i0 - (i1 / i0) ** 2) / (q * q)


def write_shape():
    with open(os.path.join(HERE, "shape.csv"), "w") as out:
        out.write("# F(z) = 2 I1(q)/(q I0(q)), q = sqrt(z), and dF/dz\n" + MADE)
        out.write("abs_z,arg_z_deg,re_f,im_f,re_df,im_df\n")
        for degrees in (0, 45, 80, 90, 95, 100, 120, 150):
            for size in np.logspace(-6, 4, 61 if degrees == 90 else 31):
                f, d = shape(size * np.exp(1j * np.deg2rad(degrees)))
                out.write(f"{size:.17g},{degrees},{f.real:.17g},{f.imag:.17g},{d.real:.17g},{d.imag:.17g}\n")


def write_rings():
    """Fits over 20 Hz to 20 kHz of F(8 j f/corner): at low frequency the
    cylinder lags as one ring of that corner."""
    f = np.logspace(np.log10(20), np.log10(20e3), 400)
    with open(os.path.join(HERE, "rings.csv"), "w") as out:
        out.write("# rings fitted to a solid cylinder at 400 log-spaced points from 20 Hz to 20 kHz;\n"
                  "# time_s is 8/(2 pi corner); the largest |difference| of L/L(0) of the fit\n" + MADE)
        out.write("corner_hz,rings,time_s,largest,share_time_pairs\n")
        for corner in (300, 3000):
            t = 8 / (2 * np.pi * corner)
            s = 2j * np.pi * f
            wanted, _ = shape(s * t)
            for k in (1, 2, 3, 4):
                def fitted(x):
                    share, time = np.exp(x[:k]), np.exp(x[k:])
                    st = s * time[:, None]
                    return 1 - (share[:, None] * st / (1 + st)).sum(0)

                def residual(x):
                    d = fitted(x) - wanted
                    return np.r_[d.real, d.imag]

                best = None
                for seed in range(6):
                    noise = np.random.default_rng(seed).normal(0, 0.3, k)
                    start = np.r_[np.full(k, -np.log(k + 0.5)),
                                  np.log(t / np.geomspace(6, 9 * 10 ** (k - 1), k)) + noise]
                    r = least_squares(residual, start)
                    if best is None or r.cost < best.cost:
                        best = r
                x = np.exp(best.x)
                pairs = " ".join(f"{a:.12g} {b:.12g}" for a, b in zip(x[:k], x[k:]))
                out.write(f"{corner},{k},{t:.17g},{np.abs(fitted(best.x) - wanted).max():.6g},{pairs}\n")


write_shape()
write_rings()
