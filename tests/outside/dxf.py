"""DXF files opened by ezdxf, a reader that shares nothing with this project: without errors and without fixes, in
millimetres, the check square true to 0.01 mm, splines taken apart into the cubics that they were made of.

    python dxf.py OUT_DIR [EXPECTED.json]

Every file is also spoiled on purpose, and every fault must be found.
"""

import io
import math
import sys

import ezdxf
from audited import opened
from ezdxf.math import BSpline, Matrix44
from svg_and_dxf import counted, wrong_square


def check(text, want):
    """What is wrong with a file, as lines of text."""
    doc, wrong = opened(text)
    if doc is None:
        return wrong
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
    wrong += wrong_square(squares, want)

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
    "an unknown layer": lambda text: text.replace("\n  8\nsquare\n", "\n  8\noblong\n", 1),
    "half the file": lambda text: text[: len(text) // 2],
}
NEEDS = {"an entity less": "strokes", "a bent spline": "beziers"}


def main(out_dir, expected=None):
    return counted("DXF", out_dir, expected, check, FAULTS, NEEDS)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
