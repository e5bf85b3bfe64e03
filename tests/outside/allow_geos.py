"""Cut lines of one width against GEOS (PyPI `shapely`): 120 seeded outlines, smooth, cornered and with tiny edges, round at every
corner, go through `oaktag allow`; the cut line and GEOS's buffer of the same outline lie within 0.005 mm of each other and
what both flattenings may stray. A cut line of one twentieth of a millimetre more must be found.

    python allow_geos.py OUT_DIR, after `cargo build --release`
"""

import json
import math
import random
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import shapely

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "target" / "release" / "oaktag"
COUNT = 120
# Each curve is flattened into so many chords, GEOS's arcs into quarter circles of so many; both stray under 0.001 mm.
CHORDS = 600
QUARTER = 512
WITHIN = 0.005 + 2 * 0.001
SPOILED = 0.05
TOKEN = re.compile(r"[MLHVCZ]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


def outline(seed):
    """Cubics [p0, p1, p2, p3], counter-clockwise about the origin: through points on rays, or straight, or both."""
    dice = random.Random(seed)
    kind = seed % 3
    count = dice.randint(5, 9)
    angles = [2 * math.pi * (i + dice.uniform(-0.2, 0.2)) / count for i in range(count)]
    points = [(r * math.cos(a), r * math.sin(a)) for a in angles for r in [dice.uniform(90, 220)]]
    if kind == 2:
        # Tiny edges: a second point a twentieth to half a millimetre on the way to the next.
        double = []
        for here, there in zip(points, points[1:] + points[:1]):
            far = math.dist(here, there)
            step = dice.uniform(0.05, 0.5) / far
            double += [here, (here[0] + step * (there[0] - here[0]), here[1] + step * (there[1] - here[1]))]
        points = double
    size = len(points)
    cubics = []
    for i in range(size):
        before, start, end, after = (points[(i + k) % size] for k in (-1, 0, 1, 2))
        bend = (1 / 6) if kind == 0 else 0.0
        out = [(end[k] - before[k]) * bend for k in (0, 1)] if bend else [(end[k] - start[k]) / 3 for k in (0, 1)]
        back = [(after[k] - start[k]) * bend for k in (0, 1)] if bend else [(end[k] - start[k]) / 3 for k in (0, 1)]
        cubics.append([start, (start[0] + out[0], start[1] + out[1]), (end[0] - back[0], end[1] - back[1]), end])
    return cubics


def flat(cubics):
    """Points along cubics, the last one left out."""
    points = []
    for p0, p1, p2, p3 in cubics:
        for step in range(CHORDS):
            t = step / CHORDS
            weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3)
            points.append(tuple(sum(w * p[k] for w, p in zip(weights, (p0, p1, p2, p3))) for k in (0, 1)))
    return points


def cubics_of(text):
    """The segments of an absolute path of M, L, H, V, C and Z as cubics."""
    tokens = TOKEN.findall(text)
    cubics, pen, start, command, i = [], (0.0, 0.0), (0.0, 0.0), "", 0

    def line(to):
        cubics.append([pen, *(tuple(pen[k] + (to[k] - pen[k]) * share for k in (0, 1)) for share in (1 / 3, 2 / 3)), to])

    while i < len(tokens):
        if tokens[i].isalpha():
            command, i = tokens[i], i + 1
            if command == "Z":
                line(start)
                pen = start
            continue
        take = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6}[command]
        n, i = [float(token) for token in tokens[i : i + take]], i + take
        if command == "C":
            cubics.append([pen, (n[0], n[1]), (n[2], n[3]), (n[4], n[5])])
            pen = (n[4], n[5])
            continue
        to = {"H": (n[0], pen[1]), "V": (pen[0], n[0])}.get(command) or (n[0], n[1])
        if command == "M":
            start, command = to, "L"
        else:
            line(to)
        pen = to
    return cubics


def piece(seed, width):
    edges = []
    for index, (p0, p1, p2, p3) in enumerate(outline(seed)):
        numbers = " ".join(f"{v!r}" for p in (p1, p2, p3) for v in p)
        edges.append({"name": f"e{index}", "path": f"M{p0[0]!r} {p0[1]!r} C{numbers}", "allowance": width})
    return {
        "name": f"Outline {seed}",
        "cut": {"count": 1, "mirrored": False, "cloth": "main"},
        "edges": edges,
        "corners": [{"after": edge["name"], "finish": "round"} for edge in edges],
        "notches": [], "darts": [], "pleats": [], "grain": [[0, -20], [0, 20]], "drills": [], "lines": [],
    }


def within(one, other):
    """Whether every vertex of each ring lies near the other."""
    shapely.prepare([one, other])
    pairs = ((one, other), (other, one))
    return all(bool(shapely.dwithin(line, shapely.points(shapely.get_coordinates(points)), WITHIN).all()) for line, points in pairs)


def main(out_dir):
    widths = {seed: (6.35, 12.7, 25.4)[seed // 3 % 3] for seed in range(COUNT)}
    sound = {seed: shapely.Polygon(flat(outline(seed))) for seed in widths}
    sound = {seed: polygon for seed, polygon in sound.items() if polygon.is_valid}
    with tempfile.TemporaryDirectory() as folder:
        file, cut = Path(folder, "in.pieces.json"), Path(folder, "cut.pieces.json")
        pieces = [piece(seed, widths[seed]) for seed in sound]
        file.write_text(json.dumps({"oaktag": "pieces/1", "unit": "mm", "style": "Outlines", "for": "GEOS", "pieces": pieces, "joins": []}))
        run = subprocess.run([PROGRAM, "allow", file, "-o", cut], cwd=ROOT, capture_output=True, text=True)
        if run.returncode != 0:
            print(run.stderr[-2000:])
            print("outlines against GEOS: 0 passed, 1 failed")
            return 1
        lines = {p["name"]: p["cut_line"] for p in json.loads(cut.read_text())["pieces"]}
    passed, failed = 0, 0
    for seed, polygon in sound.items():
        ours = shapely.LinearRing(flat(cubics_of(lines[f"Outline {seed}"])))
        near = [
            within(ours, polygon.buffer(width, quad_segs=QUARTER, join_style="round").exterior)
            for width in (widths[seed], widths[seed] + SPOILED)
        ]
        if near == [True, False]:
            passed += 1
        else:
            failed += 1
            print(f"outline {seed}: " + ("the spoiled width passes" if near[0] else f"further than {WITHIN} mm from GEOS"))
    if len(sound) < 0.9 * COUNT:
        failed += 1
        print(f"only {len(sound)} of {COUNT} outlines do not cross themselves")
    print(f"outlines against GEOS: {passed} passed, {failed} failed")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1] if len(sys.argv) > 1 else "out"))
