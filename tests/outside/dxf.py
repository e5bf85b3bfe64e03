"""DXF files opened by ezdxf, a reader that shares nothing with this project.

    python dxf.py FOLDER EXPECTED.json [--seed-faults]

EXPECTED maps each file's name to
    square    nominal side of the check square, mm
    x y skew  the machine's own J = [[x, skew], [0, y]]; the file must hold the square through J's inverse
    strokes   how many entities it draws (optional)
    beziers   for each spline in order its chain of cubics, four points each, mm (optional)

Every file must open without errors and without fixes, be in millimetres, and hold the square to 0.01 mm. With
--seed-faults each file is also spoiled on purpose, and every fault must be found. Exit code 1 where something is wrong.
"""

import io
import json
import math
import sys
from pathlib import Path

import ezdxf
from ezdxf.math import BSpline

WITHIN = 0.01  # mm


def expected_square(want):
    """The square's corners through the inverse of J, its lower left corner at 0, 0."""
    side, x, y, skew = want["square"], want["x"], want["y"], want["skew"]
    through = lambda u, v: ((u - skew * v / y) / x, v / y)
    return [through(u, v) for u, v in [(0, 0), (side, 0), (side, side), (0, side)]]


def sides(corners):
    return [math.dist(corners[i], corners[(i + 1) % 4]) for i in range(4)]


def check(text, want):
    """What is wrong with a file, as lines of text."""
    wrong = []
    try:
        doc = ezdxf.read(io.StringIO(text))
    except Exception as error:  # whatever ezdxf raises, the file is at fault
        return [f"does not open: {error!r}"]
    audit = doc.audit()
    wrong += [f"error: {error.message}" for error in audit.errors]
    wrong += [f"fix: {fix.message}" for fix in audit.fixes]
    if doc.header.get("$INSUNITS") != 4 or doc.header.get("$MEASUREMENT") != 1:
        wrong.append("not in millimetres")
    drawn = list(doc.modelspace())
    if "strokes" in want and len(drawn) != want["strokes"]:
        wrong.append(f"{len(drawn)} entities, not {want['strokes']}")
    for entity in drawn:
        if entity.dxf.layer not in doc.layers:
            wrong.append(f"layer {entity.dxf.layer} is not defined")

    squares = [
        [(u, v) for u, v in entity.get_points("xy")]
        for entity in drawn
        if entity.dxftype() == "LWPOLYLINE" and entity.dxf.layer == "square" and entity.closed and len(entity) == 4
    ]
    target = sorted(sides(expected_square(want)))
    if not any(all(abs(a - b) <= WITHIN for a, b in zip(sorted(sides(c)), target)) for c in squares):
        found = [[round(side, 3) for side in sides(c)] for c in squares]
        wrong.append(f"check square: sides {found}, expected {[round(side, 3) for side in target]}")

    if "beziers" in want:
        splines = [entity for entity in drawn if entity.dxftype() == "SPLINE"]
        if len(splines) != len(want["beziers"]):
            wrong.append(f"{len(splines)} splines, not {len(want['beziers'])}")
        for spline, chain in zip(splines, want["beziers"]):
            curve = BSpline(spline.control_points, order=spline.dxf.degree + 1, knots=spline.knots)
            found = list(curve.bezier_decomposition())
            apart = max(
                (math.dist((a.x, a.y), b) for one, two in zip(found, chain) for a, b in zip(one, two)),
                default=math.inf,
            )
            if len(found) != len(chain) or apart > 1e-6:
                wrong.append(f"spline {spline.dxf.handle}: {len(found)} cubics of {len(chain)}, {apart} mm apart")
    return wrong


def edited(change):
    """A fault that edits the opened drawing."""

    def spoil(text):
        doc = ezdxf.read(io.StringIO(text))
        change(doc)
        stream = io.StringIO()
        doc.write(stream)
        return stream.getvalue()

    return spoil


def scale(factor):
    from ezdxf.math import Matrix44

    def change(doc):
        for entity in doc.modelspace():
            entity.transform(Matrix44.scale(factor, factor, factor))

    return edited(change)


def bend(doc):
    """Moves one inner control point by a hundredth of a millimetre."""
    for entity in doc.modelspace().query("SPLINE"):
        points = [tuple(point) for point in entity.control_points]
        points[1] = (points[1][0] + 0.01, points[1][1], 0)
        entity.control_points = points
        return


FAULTS = {
    "inches": scale(1 / 25.4),
    "a tenth of a per cent": scale(1.001),
    "an entity less": edited(lambda doc: doc.modelspace().delete_entity(doc.modelspace()[-1])),
    "a bent spline": edited(bend),
    "units": lambda text: text.replace("$INSUNITS\n 70\n4\n", "$INSUNITS\n 70\n1\n"),
    "a handle twice": lambda text: text.replace("\n  5\n101\n", "\n  5\n100\n"),
    "an unknown layer": lambda text: text.replace("\n  8\nsquare\n", "\n  8\noblong\n"),
    "half the file": lambda text: text[: len(text) // 2],
}
NEEDS = {"an entity less": "strokes", "a bent spline": "beziers"}


def main():
    folder, expected = Path(sys.argv[1]), json.loads(Path(sys.argv[2]).read_text("utf-8"))
    names = sorted(name for name in expected if name.endswith(".dxf"))
    failed = not names
    for name in names:
        text, want = (folder / name).read_bytes().decode("ascii"), expected[name]
        wrong = check(text, want)
        failed |= bool(wrong)
        print(f"{name}: {'; '.join(wrong) or 'good'}")
        if "--seed-faults" in sys.argv:
            for fault, spoil in FAULTS.items():
                if fault in NEEDS and not want.get(NEEDS[fault]):
                    continue
                if not check(spoil(text), want):
                    failed = True
                    print(f"{name}: the seeded fault was not found: {fault}")
    sys.exit(1 if failed else 0)


main()
