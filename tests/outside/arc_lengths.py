"""Walked lengths against scipy's adaptive quadrature of |B'(t)|: every side of every seam of every made sample within
1e-4 mm. Each sum is also spoiled by 2e-4 mm, which must be found.

    python arc_lengths.py OUT_DIR
"""

import json
import re
import subprocess
import sys
from pathlib import Path

from scipy.integrate import quad

WITHIN = 1e-4
ROOT = Path(__file__).resolve().parents[2]
NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


def segments(text):
    """Straight lines and cubics of an absolute path of M, L, H, V and C commands."""
    pen = (0.0, 0.0)
    for command, rest in re.findall(r"([MLHVCZ])([^MLHVCZ]*)", text):
        numbers = [float(n) for n in NUMBER.findall(rest)]
        if command == "Z":
            continue
        if command in "HV":
            for n in numbers:
                to = (n, pen[1]) if command == "H" else (pen[0], n)
                yield [pen, to]
                pen = to
            continue
        points = list(zip(numbers[::2], numbers[1::2]))
        if command == "M":
            pen, points = points[0], points[1:]
        step = 3 if command == "C" else 1
        for i in range(0, len(points), step):
            part = points[i : i + step]
            yield [pen, *part]
            pen = part[-1]


def speed(points, t):
    if len(points) == 2:
        return ((points[1][0] - points[0][0]) ** 2 + (points[1][1] - points[0][1]) ** 2) ** 0.5
    s = 1 - t
    d = [
        3 * (s * s * (b - a) + 2 * s * t * (c - b) + t * t * (e - c))
        for a, b, c, e in zip(points[0], points[1], points[2], points[3])
    ]
    return (d[0] ** 2 + d[1] ** 2) ** 0.5


def length(text):
    return sum(quad(lambda t, p=points: speed(p, t), 0, 1, epsabs=1e-9, epsrel=1e-12, limit=200)[0] for points in segments(text))


def sewn_lengths(pieces):
    """Each edge's and inner line's length with its darts and pleats closed, by piece and name."""
    known = {}
    for piece in pieces["pieces"]:
        for part in [*piece["edges"], *piece.get("lines", [])]:
            folds = [f for f in [*piece.get("darts", []), *piece.get("pleats", [])] if f["edge"] == part["name"]]
            taken = sum(abs(fold["mouth"][1] - fold["mouth"][0]) for fold in folds)
            known[f"{piece['name']}/{part['name']}"] = length(part["path"]) - taken
    return known


def main(out_dir):
    binary = ROOT / "target" / "release" / "oaktag"
    passed = failed = 0
    worst = 0.0
    for path in sorted(Path(out_dir).rglob("*.pieces.json")):
        known = sewn_lengths(json.loads(path.read_text("utf-8")))
        run = subprocess.run([binary, "walk", path, "--json", "--anyway"], capture_output=True, check=True)
        for join in json.loads(run.stdout)["joins"]:
            for side, walked in zip(join["sides"], join["lengths"]):
                true = sum(known[link["span"].removesuffix(" backwards")] for link in side)
                off = abs(walked - true)
                worst = max(worst, off)
                good = off <= WITHIN < abs(walked + 2e-4 - true)
                passed, failed = passed + good, failed + (not good)
                if not good:
                    print(f"FAILED {path}: {join['name']}: walked {walked}, scipy says {true}")
    print(f"largest difference {worst:.2e} mm")
    print(f"arc lengths: {passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
