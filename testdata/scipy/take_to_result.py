"""From recordings to L, C, R as a short NumPy/SciPy script would do it, to set
'coilsweep fit' beside: 4 WAV files of the default stimulus, one fit of two
rings, the first-order uncertainties.

    take_to_result.py STIMULUS.wav TAKE.wav=FARAD...

FARAD is the added capacitor, 1 %; the fixture is 65 pF 5 % and 1 Mohm 1 %.
"""
import sys

import numpy as np
from scipy.io import wavfile
from scipy.optimize import least_squares

from joint import Joint

FROM_HZ, TO_HZ, LEAD_IN, PERIOD, REPEATS = 20.0, 20e3, 28800, 156250, 4
LIMIT = 1 / np.sqrt(3)  # u of a tolerance


def response(take, stimulus, rate):
    """Frequency, response and variance on a logarithmic grid."""
    # Where the stimulus begins: the peak of the correlation with one period.
    period = stimulus[LEAD_IN:LEAD_IN + PERIOD]
    n = len(take)
    correlation = np.fft.irfft(np.fft.rfft(take) * np.conj(np.fft.rfft(period, n)), n)
    lags = np.abs(correlation[:n - REPEATS * PERIOD])
    begin = int(np.argmax(lags))
    # Deconvolve every repeat, gate its impulse response the shorter the higher
    # the frequency, back to lines: 80 an octave, not closer than 1.7 Hz, hum
    # left out. The slope of a current-driven exciter is taken off.
    repeats = take[begin:begin + REPEATS * PERIOD].reshape(REPEATS, PERIOD)
    x = np.fft.rfft(period)
    hz = np.fft.rfftfreq(PERIOD, 1 / rate)
    band = (hz >= FROM_HZ) & (hz <= TO_HZ)
    impulse = np.fft.irfft(np.where(band, np.fft.rfft(repeats) / np.where(band, x, 1), 0), PERIOD)
    wanted = [1.5 * FROM_HZ]
    while wanted[-1] < 0.96 * TO_HZ:
        wanted.append(max(wanted[-1] * 2 ** (1 / 80), wanted[-1] + 1.7))
    wanted = np.array(wanted)
    wanted = wanted[(np.abs(wanted - 50 * np.round(wanted / 50)) > 3) | (wanted > 1000)]
    centre, mean, spread = [], [], []
    for low, high, length in ((0, 700, 0.6), (700, 3000, 0.12), (3000, np.inf, 0.03)):
        after, before = int(length * rate), int(0.2 * length * rate)
        gate = np.zeros(PERIOD)
        gate[:after] = np.minimum(1, np.linspace(4, 0, after))
        gate[-before:] = np.minimum(1, np.linspace(0, 2, before))
        lines = np.searchsorted(hz, wanted[(wanted >= low) & (wanted < high)])
        h = np.fft.rfft(impulse * gate)[:, lines] / (1j * hz[lines] / 1000)
        centre.append(hz[lines])
        mean.append(h.mean(0))
        spread.append(np.sum(np.abs(h - h.mean(0)) ** 2, 0) / (REPEATS * (REPEATS - 1)))
    spread = np.concatenate(spread)
    variance = np.convolve(np.pad(spread, 5, mode="edge"), np.ones(11) / 11, "valid")
    return np.concatenate(centre), np.concatenate(mean), variance


def main():
    rate, stimulus = wavfile.read(sys.argv[1])
    stimulus = stimulus.astype(float)
    takes, parts, peak = [], [("load", 1e6, 0.01), ("fixture", 65e-12, 0.05)], []
    for argument in sys.argv[2:]:
        name, farad = argument.rsplit("=", 1)
        _, audio = wavfile.read(name)
        hz, h, variance = response(audio[:, 0].astype(float), stimulus, rate)
        added = -1
        if float(farad) > 0:
            added = len(parts)
            parts.append(("added", float(farad), 0.01))
        away = hz > 700
        peak.append(hz[away][np.argmax(np.abs(h[away]))])
        # Below the resonance all of the phase is delay.
        low = (hz > 300) & (hz < 1500)
        turn, sign = np.polyfit(2 * np.pi * hz[low], np.unwrap(np.angle(h[low])), 1)
        takes.append(dict(frequency_hz=hz, re=h.real, im=h.imag, variance=variance, load=0, added_r=[-1], added_c=[added],
                          fixture_c=1, referenced=False, polarity=np.sign(np.cos(sign)), gain=np.log(np.median(np.abs(h[low]))), delay=-1e6 * turn))
    # Start: slope and intercept of 1/w^2 over added C.
    slope, intercept = np.polyfit([p[1] if p[0] == "added" else 0 for p in [parts[0]] + parts[2:]],
                                  1 / (2 * np.pi * np.array(peak)) ** 2, 1)
    start = {"ln L": np.log(slope), "ln R": np.log(8000), "ln C": np.log(intercept / slope),
             "piece 1": -2.2, "ln t 1": -np.log(2 * np.pi * 4000), "piece 2": -2.2, "ln t 2": -np.log(2 * np.pi * 16000)}
    priors = [dict(terms={"ln R": 1}, mean=np.log(7850), u=0.008)]
    for name in ("piece 1", "piece 2"):
        priors.append(dict(terms={name: 1}, mean=-2.2, u=2))
    for i, (_, value, limit) in enumerate(parts):
        start[f"ln part {i}"] = np.log(value)
        priors.append(dict(terms={f"ln part {i}": 1}, mean=np.log(value), u=limit * LIMIT))
    for k, hz in enumerate((1, 4)):
        start[f"ln corner {k + 1}"] = np.log(2 * np.pi * hz)
        priors.append(dict(terms={f"ln corner {k + 1}": 1}, mean=np.log(2 * np.pi * hz), u=1.5))
    for k, u in enumerate((0.15, 0.15, 0.15, 0.3, 0.3, 0.3)):
        start[f"edge {k + 1}"] = 0
        priors.append(dict(terms={f"edge {k + 1}": 1}, mean=0, u=u))
    for i, t in enumerate(takes):
        start[f"ln gain {i}"], start[f"delay {i}"] = t["gain"], t["delay"]
    joint = Joint(dict(parameters=list(start), start=list(start.values()), rings=2, cylinder=False, cover=False,
                       takes=takes, priors=priors))
    r = least_squares(joint.residuals, joint.start, method="lm", x_scale="jac")
    u = np.sqrt(np.diag(np.linalg.inv(r.jac.T @ r.jac)))
    points = 2 * sum(len(t["re"]) for t in takes)
    for i, name in enumerate(("ln L", "ln R", "ln C")):
        print(f"{name[3:]} = {np.exp(r.x[i]):.6g} ± {100 * 1.96 * u[i]:.2g} %")
    print(f"chi-square over points {2 * r.cost / points:.3g}, {points} values, {r.nfev} evaluations")


if __name__ == "__main__":
    main()
