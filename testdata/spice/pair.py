"""Writes pair_N.cir: hum-cancelling pairs as two coupled ladders. All values are invented.

Each winding is six coupled sections; capacitances to the metal (ground) and to the other
winding lie at their ends and joints, half at the ends. Switches, resistors of 1 mohm or
1 Tohm, connect the leads a1, a2, b1, b2 as the takes have them. Below "guitar" the magnets
are opposed, so that the strings' EMF in the second coil has the other sign.
"""
import math

N = 6
WORLDS = [
    # l, r, c of each coil, share and corner of its loop, k, between, metal, lay, emf of the
    # second, other coil, share of a plate below both
    dict(l=(2.05, 2.2), r=(3.95e3, 4.2e3), c=(95e-12, 105e-12), loop=((0.12, 12e3), (0.15, 9e3)), k=0.06,
         between=28e-12, metal=14e-12, lay=1, emf=0.985, other="open", plate=0),
    dict(l=(2.6, 2.25), r=(4.6e3, 4.1e3), c=(120e-12, 100e-12), loop=None, k=-0.09, between=16e-12, metal=22e-12,
         lay=-1, emf=-0.93, other="shorted", plate=0),
    dict(l=(1.5, 1.53), r=(3.1e3, 3.2e3), c=(140e-12, 130e-12), loop=((0.08, 16e3), (0.08, 16e3)), k=0.035,
         between=40e-12, metal=9e-12, lay=1, emf=1.004, other="open", plate=0.02),
]
SWITCHES = ["a1in", "a1g", "a2g", "a2b1", "a2b2", "b1in", "b1g", "b2in", "b2g"]
TAKES = [  # folder, name, farad, closed switches; "other" of the world adds its own
    ("first", "alone", 1e-18, ["a1in", "a2g"], ["b1g", "b2g"]),
    ("first", "loaded", 466.9e-12, ["a1in", "a2g"], ["b1g", "b2g"]),
    ("second", "alone", 1e-18, ["b1in", "b2g"], ["a1g", "a2g"]),
    ("second", "loaded", 466.9e-12, ["b1in", "b2g"], ["a1g", "a2g"]),
    ("both", "series", 1e-18, ["a1in", "a2b1", "b2g"], []),
    ("both", "series reversed", 1e-18, ["a1in", "a2b2", "b1g"], []),
    ("both", "parallel", 1e-18, ["a1in", "a2g", "b1in", "b2g"], []),
    ("both", "parallel reversed", 1e-18, ["a1in", "a2g", "b2in", "b1g"], []),
]


def sections(w):
    """Netlist lines of world w, its values in numbers."""
    lines, names = [], []
    inner = lambda i, j: 0.97 - 0.004 * abs(i - j)
    total = sum(1 if i == j else inner(i, j) for i in range(N) for j in range(N))
    for x, c in enumerate("ab"):
        l = w["l"][x] / total
        for i in range(N):
            top = f"{c}1" if i == 0 else f"{c}n{i}"
            end = f"{c}2" if i == N - 1 else f"{c}n{i + 1}"
            lines += [f"L{c}{i} {top} {c}x{i} {l:.12g}", f"R{c}{i} {c}x{i} {c}y{i} {w['r'][x] / N:.12g}",
                      f"E{c}{i} {c}y{i} {end} e 0 {'{' if x else ''}{(1 if x == 0 else w['emf']) / N:.12g}{'*sense}' if x else ''}"]
        for i in range(N):
            for j in range(i):
                lines.append(f"K{c}{i}{c}{j} L{c}{i} L{c}{j} {inner(i, j):.12g}")
        lines.append(f"Cw{c} {c}1 {c}2 {w['c'][x]:.12g}")
        if w["loop"]:
            share, hz = w["loop"][x]
            lines += [f"Lr{c} r{c} 0 1m", f"Rr{c} r{c} 0 {1e-3 * 2 * math.pi * hz:.12g}"]
            lines += [f"Kr{c}{i} L{c}{i} Lr{c} {math.sqrt(share * total) / N:.12g}" for i in range(N)]
        if w["plate"]:
            if x == 0:
                lines += ["Lp p 0 1m", f"Rp p 0 {1e-3 * 2 * math.pi * 6e3:.12g}"]
            lines += [f"Kp{c}{i} L{c}{i} Lp {math.sqrt(w['plate'] * total) / N:.12g}" for i in range(N)]
    for i in range(N):
        for j in range(N):
            lines.append(f"Kab{i}{j} La{i} Lb{j} {w['k'] * total / N**2:.12g}")
    for i in range(N + 1):
        share = (0.5 if i in (0, N) else 1) / N
        node = lambda c, i: f"{c}1" if i == 0 else f"{c}2" if i == N else f"{c}n{i}"
        lines.append(f"Cm{i} {node('a', i)} {node('b', i if w['lay'] > 0 else N - i)} {w['between'] * share:.12g}")
        lines += [f"Cg{c}{i} {node(c, i)} 0 {w['metal'] * share:.12g}" for c in "ab"]
    return lines


for number, w in enumerate(WORLDS, 1):
    out = [f"* hum-cancelling pair {number} as two coupled ladders; written by pair.py, all values are invented"]
    out += [f".param s{s}=1t" for s in SWITCHES] + [".param cadd=1e-18", ".param sense=1", ".param spart=1t", "VE e 0 dc 0 ac 1"] + sections(w)
    for s in SWITCHES:
        a, b = (s[:2], {"in": "in", "g": "0"}.get(s[2:], s[2:]))
        out.append(f"Rs{s} {a} {b} {{s{s}}}")
    out += ["Cfix in 0 70p", "Rfix in 0 1meg", "Cadd in 0 {cadd}", "Rpart a2 0 {spart}", ".control", "set numdgt=10", "set width=120"]
    swapped = w["emf"] > 0  # what cancels hum
    series = ["a1in", "a2b2", "b1g"] if swapped else ["a1in", "a2b1", "b2g"]
    parallel = ["a1in", "a2g"] + (["b2in", "b1g"] if swapped else ["b1in", "b2g"])
    guitar = [("guitar", "series", series), ("guitar", "parallel", parallel),
              ("guitar", "split", series + ["a2g"]), ("guitar", "partial split", series + ["part"])]
    takes = TAKES + [(folder, name, 400e-12, closed, []) for folder, name, closed in guitar]
    for folder, name, farad, closed, other in takes:
        on = closed + (other if w["other"] == "shorted" else [])
        out += [f"alterparam sense = {-1 if folder == 'guitar' else 1}"]
        out += [f"alterparam spart = {'4.7k' if 'part' in on else '1t'}"]
        out += [f"alterparam s{s} = {'1m' if s in on else '1t'}" for s in SWITCHES]
        out += [f"alterparam cadd = {farad}", "reset", f"echo take {folder}/{name}", "ac oct 24 25 19.2k",
                "print vr(in) vi(in)"]
    out += ["quit 0", ".endc", ".end"]
    with open(f"pair_{number}.cir", "w") as f:
        f.write("\n".join(out) + "\n")
