"""Files after ASTM D6673 opened by ezdxf, which shares nothing with this project: without errors and without fixes, 7-bit
ASCII, in millimetres, a block for each piece with its texts, on the numbered layers, and every line of the job where it
belongs. What ezdxf makes of the placed blocks is compared with the job's strokes, which the project recorded.

    python interchange.py OUT_DIR

Files of seeded chance are also spoiled on purpose, and every fault must be found.
"""

import io
import sys
import unicodedata
from collections import Counter

import ezdxf
import numpy as np
from audited import opened
from jobs import allowed, checked, compare, corrected


# Layers after ASTM D6673 (from memory) of the roles of a stroke; a cut inside a piece would be on 11.
LAYERS = {"cut": "1", "notch": "4", "fold": "6", "grain": "7", "line": "8", "dart": "8", "drill": "13", "sew": "14", "label": "15", "square": "15"}
TURN, CURVE = "2", "3"
MARKED = {"1", "8", "11", "14"}


def ascii_of(text):
    """Letters without their marks, by Python's own tables."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return plain.encode("ascii", "replace").decode()


def chain(entity):
    """An entity of the drawing as points; none where it is no line."""
    kind = entity.dxftype()
    if kind == "POINT":
        return [entity.dxf.location.vec2]
    if kind == "LINE":
        return [entity.dxf.start.vec2, entity.dxf.end.vec2]
    if kind == "POLYLINE":
        points = [vertex.dxf.location.vec2 for vertex in entity.vertices]
        return points + points[:1] if entity.is_closed else points
    return None


def sharp(points, closed):
    """Vertices of a polyline at which two long sides meet at more than 40 degrees: no curve's chords do."""
    a = np.asarray(points[:-1] if closed else points)
    before, after = np.roll(a, 1, 0), np.roll(a, -1, 0)
    one, two = a - before, after - a
    turn = np.abs(np.arctan2(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0], (one * two).sum(1)))
    keep = (turn > np.radians(40)) & (np.minimum(np.hypot(*one.T), np.hypot(*two.T)) > 3)
    if not closed:
        keep[0] = keep[-1] = True
    return a[keep]


def check(data, job):
    doc, wrong = opened(data.decode("ascii", "replace"))
    if any(byte > 126 or (byte < 32 and byte not in (10, 13)) for byte in data):
        wrong.append("not 7-bit ASCII")
    if doc is None:
        return wrong
    texts = [text.dxf.text for text in doc.modelspace().query("TEXT")]
    for key in ("Style Name: ", "Sample Size: "):
        if not any(text.startswith(key) for text in texts):
            wrong.append(f"no text {key!r}")
    if "Units: METRIC" not in texts:
        wrong.append("the units are not said")

    placed = {stroke["placed"]: stroke["piece"] for stroke in job["strokes"] if stroke["placed"] is not None}
    inserts = list(doc.modelspace().query("INSERT"))
    if len(inserts) != len(placed) or len({insert.dxf.name for insert in inserts}) != len(placed):
        return [*wrong, f"{len(inserts)} pieces, not {len(placed)} blocks of their own"]
    named = []
    found, marks = [], {TURN: [], CURVE: []}
    for number, insert in enumerate(inserts):
        block = doc.blocks.get(insert.dxf.name)
        says = dict(text.dxf.text.split(": ", 1) for text in block.query("TEXT"))
        missing = {"Piece Name", "Size", "Quantity", "Material", "Annotation"} - set(says)
        if missing:
            wrong.append(f"{insert.dxf.name} does not say {sorted(missing)}")
        named.append(says.get("Piece Name"))
        corners, points = [], {TURN: [], CURVE: []}
        vertices = 0
        for entity in insert.virtual_entities():
            layer, line = entity.dxf.layer, chain(entity)
            if layer not in doc.layers:
                wrong.append(f"layer {layer} is not defined")
            if entity.dxftype() == "TEXT":
                continue
            if line is None:
                wrong.append(f"a {entity.dxftype()} is no part of such a file")
            elif layer in points:
                points[layer].append(line[0])
            else:
                found.append(((number, layer), line))
                if layer in MARKED:
                    closed = entity.is_closed
                    vertices += len(line) - closed
                    corners.extend(sharp(line, closed))
        marked = points[TURN] + points[CURVE]
        if len(marked) != vertices:
            wrong.append(f"{insert.dxf.name}: {len(marked)} turn and curve points for {vertices} vertices")
        turns = np.array(points[TURN]).reshape(-1, 2)
        lost = [c for c in corners if not len(turns) or np.hypot(*(turns - c).T).min() > 1e-3]
        if lost:
            wrong.append(f"{insert.dxf.name}: {len(lost)} corners without a turn point, first {lost[0]}")
    if Counter(named) != Counter(ascii_of(piece) for piece in placed.values()):
        wrong.append(f"pieces named {named}")
    for entity in doc.modelspace():
        line = chain(entity)
        if line is not None:
            found.append(((None, entity.dxf.layer), line))
    # Blocks are numbered as they stand, which is how the pieces lie on the sheet.
    order = {piece: number for number, piece in enumerate(sorted(placed))}
    wanted = [((order.get(s["placed"]), LAYERS[s["role"]]), s["points"]) for s in job["strokes"]]
    if wrong:
        return wrong
    # A line of no length is a point, there as here.
    single = lambda points: points[:1] if len(points) == 2 and np.allclose(points[0], points[1]) else points
    return compare(found, [(layer, corrected(job, single(points))) for layer, points in wanted], allowed(job))


def edited(change):
    """A fault that edits the opened drawing; its header is put back as it was."""

    def spoil(data):
        doc = ezdxf.read(io.StringIO(data.decode()))
        change(doc)
        stream = io.StringIO()
        doc.write(stream)
        text = stream.getvalue()
        return text.encode()

    return spoil


def first(doc, kind, layer):
    return next((block, e) for block in doc.blocks for e in block if e.dxftype() == kind and e.dxf.layer == layer)


def drop(kind, layer):
    def change(doc):
        block, entity = first(doc, kind, layer)
        block.delete_entity(entity)

    return edited(change)


def place(**attributes):
    def change(doc):
        insert = doc.modelspace().query("INSERT")[0]
        for name, value in attributes.items():
            insert.dxf.set(name, insert.dxf.get(name, 1.0) + value)

    return edited(change)


def swapped(one, two):
    """The first text for the second."""
    return lambda data: data.replace(one, two, 1)


FAULTS = {
    "a sew line less": drop("POLYLINE", "14"),
    "a drill hole less": drop("POINT", "13"),
    "a curve point less": drop("POINT", "3"),
    "a block moved by 0.1 mm": place(insert=ezdxf.math.Vec3(0.1, 0, 0)),
    "a block turned": place(rotation=0.1),
    "a block mirrored": place(xscale=-2.0),
    "inches": swapped(b"$INSUNITS\n 70\n4\n", b"$INSUNITS\n 70\n1\n"),
    "a sew line on another layer": swapped(b"POLYLINE\n  8\n14\n", b"POLYLINE\n  8\n8\n"),
    "turn points as curve points": lambda data: data.replace(b"POINT\n  8\n2\n", b"POINT\n  8\n3\n"),
    "another piece's name": swapped(b"Piece Name: ", b"Piece Name: Not "),
    "no units": swapped(b"METRIC", b"ENGLISH"),
    "a letter beyond ASCII": lambda data: data.replace(b"Style Name", "Stÿle Name".encode("latin-1")),
    "half of it": lambda data: data[: len(data) // 2],
}


def main(out_dir):
    return checked("files after D6673", out_dir, {"dxf-blocks"}, check, FAULTS)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
