#!/usr/bin/env python3
"""Reads an archive of coilsweep: checks it, works L and C out of the line, redraws the response.

    python3 read.py ARCHIVE.zip FIGURE.svg

It needs nothing but Python 3.8. Exit status 1: a file is damaged, or L is not that of
result.json.
"""
import csv
import hashlib
import json
import math
import sys
import zipfile


def read(path):
    """The files of the archive by name, each as its checksum in SHA256SUMS says."""
    with zipfile.ZipFile(path) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    for row in files["SHA256SUMS"].decode().splitlines():
        checksum, name = row.split("  ", 1)
        if hashlib.sha256(files[name]).hexdigest() != checksum:
            sys.exit(f"{path}: {name} is damaged")
    return files


def curves(files):
    """The columns of response.csv by take: lists of numbers, None for what is not known."""
    takes = {}
    lines = [line for line in files["response.csv"].decode().splitlines() if not line.startswith("#")]
    for row in csv.DictReader(lines):
        take = row.pop("take")
        row.pop("take_started")  # a time, in a table of numbers
        columns = takes.setdefault(take, {name: [] for name in row})
        for name, cell in row.items():
            columns[name].append(float(cell) if cell else None)
    return takes


def straight(points):
    """Slope and intercept of the line through (x, y, u of y) by least squares."""
    w, wx, wy, wxx, wxy = map(math.fsum, zip(*[
        (1 / u**2, x / u**2, y / u**2, x * x / u**2, x * y / u**2) for x, y, u in points]))
    slope = (w * wxy - wx * wy) / (w * wxx - wx * wx)
    return slope, (wy - slope * wx) / w


def as_fitted(result, farad):
    """An added capacitor as the fit has it, within its tolerance."""
    for part in result.get("parts", []):
        if part["what"].startswith("added C ") and part["nominal"] == farad:
            return part["fitted"]
    return farad


def check_line(result):
    """L and C from 1/w² = L (C + added C) against result.json; true where L is the same."""
    want = result["inductance_h"]
    if want["value"] is None:
        print("L is not known:", want["why"])
        return True
    # w of the fitted circuit, over the capacitors as fitted: the result to the last digits.
    points = [(as_fitted(result, take["added_c_f"]), (2 * math.pi * take["lc_hz"]["value"]) ** -2, 1)
              for take in result["takes"]
              if take["used"] and take["added_r_ohm"] is None and take["lc_hz"]["value"] is not None]
    if len({x for x, _, _ in points}) < 2:
        print("there is no line: it takes two added capacitors, or one and none")
        return True
    slope, intercept = straight(points)
    print(f"L {want['value']:.9g} H ± {want['U95']:.2g} H; from the line of the fit {slope:.9g} H, "
          f"C {intercept / slope * 1e12:.6g} pF")
    # w of each take by itself, over the capacitors as stated: within their tolerance.
    own = [(p["added_c_f"], p["inverse_w2_s2"], p["u_inverse_w2_s2"]) for p in result["line"]["points"]]
    print(f"from each take by itself, capacitors as stated: L {straight(own)[0]:.6g} H")
    return abs(slope / want["value"] - 1) < 1e-6


def draw(takes, title, path):
    """Magnitude over frequency: measured as dots, fitted as a line."""
    colours = ["#234c71", "#a04809", "#29177b", "#6f9c31", "#4e1840", "#5758f7", "#b07fb6", "#496c59"]
    hz = [f for c in takes.values() for f in c["frequency_hz"]]
    db = [y for c in takes.values() for y in c["magnitude_db"] if y is not None]
    low, high, top, bottom = math.log10(min(hz)), math.log10(max(hz)), max(db) + 2, max(min(db), max(db) - 60) - 2

    def x(f):
        return 60 + 560 * (math.log10(f) - low) / (high - low)

    def y(level):
        return 30 + 330 * (top - level) / (top - bottom)

    def text(s):
        return s.replace("&", "&amp;").replace("<", "&lt;")
    out = ['<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 720 410" font-family="sans-serif" font-size="12">',
           '<rect width="720" height="410" fill="white"/>',
           f'<text x="60" y="18">{text(title)}: magnitude, dB over the low-frequency plateau</text>']
    for f in [20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000]:
        if low <= math.log10(f) <= high:
            out.append(f'<path d="M{x(f):.1f} 30V360" stroke="#ccc"/><text x="{x(f):.1f}" y="376" '
                       f'text-anchor="middle">{f}</text>')
    for level in range(math.ceil(bottom / 10) * 10, math.ceil(top), 10):
        out.append(f'<path d="M60 {y(level):.1f}H620" stroke="#ccc"/><text x="54" y="{y(level) + 4:.1f}" '
                   f'text-anchor="end">{level}</text>'.replace(">-", ">\u2212"))
    out.append('<text x="620" y="394" text-anchor="end">frequency, Hz</text>')
    for n, (name, c) in enumerate(takes.items()):
        colour = colours[n % len(colours)]
        for f, level in zip(c["frequency_hz"], c["magnitude_db"]):
            if level is not None and level > bottom:
                out.append(f'<circle cx="{x(f):.1f}" cy="{y(level):.1f}" r="1.2" fill="{colour}"/>')
        line = [(x(f), y(level)) for f, level in zip(c["frequency_hz"], c["fit_magnitude_db"])
                if level is not None and level > bottom]
        out.append(f'<polyline fill="none" stroke="{colour}" points="' + " ".join(f"{a:.1f},{b:.1f}" for a, b in line)
                   + f'"/><text x="626" y="{44 + 16 * n}" fill="{colour}">{text(name)}</text>')
    with open(path, "w", encoding="utf-8") as file:
        file.write("\n".join(out + ["</svg>\n"]))


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    files = read(sys.argv[1])
    result = json.loads(files["result.json"])
    draw(curves(files), result["coil"], sys.argv[2])
    print(sys.argv[2])
    if not check_line(result):
        sys.exit("L from the line is not that of result.json")


main()
