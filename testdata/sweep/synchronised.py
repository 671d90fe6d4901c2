"""Makes synchronised_20_20000_6s_48k.csv: run it in this folder.

The synchronised sweep of Novak, Lotton and Simon (J. Audio Eng. Soc. 63(10),
2015) begins at a whole number of cycles, f1 L, so it equals SciPy's
logarithmic chirp of the same rate: phase 2 pi f1 L (exp(t/L) - 1), which leaves
out the whole cycles. The third and fourth columns are the closed form in
extended precision.
"""
import numpy as np
import scipy
from scipy.signal import chirp

RATE, F1, F2, WANTED = 48000, 20.0, 20000.0, 6.0
cycles = round(F1 * WANTED / np.log(F2 / F1))
L = cycles / F1
T = L * np.log(F2 / F1)
length = int(np.floor(T * RATE)) + 1
n = np.unique(np.concatenate([
    np.arange(0, 40), np.arange(0, length, 997), np.arange(length - 40, length)]))
sample = chirp(n / RATE, F1, T, F2, method="logarithmic", phi=-90)
t = n.astype(np.longdouble) / RATE
phase = cycles * np.exp(t / (np.longdouble(cycles) / np.longdouble(F1)))
assert np.max(np.abs(sample - np.sin(2 * np.pi * (phase - np.floor(phase))).astype(float))) < 1e-9

with open("synchronised_20_20000_6s_48k.csv", "w") as out:
    out.write(f"# made by synchronised.py: scipy {scipy.__version__}, numpy {np.__version__}\n")
    out.write(f"# from 20 Hz to 20 kHz, 6 s wanted, 48 kHz: {cycles} cycles, {length} samples, amplitude 1, ends not faded\n")
    out.write("n,frequency_hz,phase_cycles,sample\n")
    for k, ph, x in zip(n, phase, sample):
        out.write(f"{k},{float(ph / L):.9f},{ph:.12f},{x:.12f}\n")
