"""DXF files of every kind of entity that is read, made by ezdxf, with points on them as ezdxf sees them.

    python dxf_kinds.py FOLDER

Writes NAME.dxf and NAME.json, a list of chains of points in mm.
"""

import json
import sys
from pathlib import Path

import ezdxf
from ezdxf.disassemble import recursive_decompose

FINE = 1e-4  # mm


def drawing(version, units):
    doc = ezdxf.new(version, units=units)
    doc.layers.add("cut")
    space = doc.modelspace()
    at = {"layer": "cut"}
    space.add_line((1, 2), (30, 40), at)
    space.add_arc((50, 50), 20, 300, 70, dxfattribs=at)
    space.add_arc((50, 50), 25, 10, 200, dxfattribs=at | {"extrusion": (0, 0, -1)})
    space.add_circle((10, 90), 7.5, at)
    space.add_circle((10, 90), 7.5, at | {"extrusion": (0, 0, -1)})
    if version != "R12":
        space.add_ellipse((80, 20), (15, 5), 0.4, 0.3, 4.9, at)
        space.add_ellipse((80, 20), (12, -5), 0.6, 0.3, 4.9, at | {"extrusion": (0, 0, -1)})
        space.add_ellipse((80, 60), (0, 9), 0.7, 0, 6.283185307179586, at)
        corners = [(0, 0, 0.5), (40, 0, 0), (40, 30, -1.5), (10, 30, 0.1)]
        space.add_lwpolyline(corners, "xyb", close=True, dxfattribs=at)
        space.add_lwpolyline(corners, "xyb", dxfattribs=at | {"extrusion": (0, 0, -1)})
        control = [(0, 0, 0), (10, 30, 0), (40, -20, 0), (60, 10, 0), (70, 50, 0), (90, 20, 0)]
        for degree in (1, 2, 3):
            space.add_spline(degree=degree, dxfattribs=at).set_open_uniform(control, degree)
    polyline = space.add_polyline2d([(0, 0), (0, 9), (9, 9)], close=True, dxfattribs=at)
    polyline[1].dxf.bulge = 0.7
    block = doc.blocks.new("Sleeve cap", base_point=(3, 4))
    block.add_line((0, 0), (10, 0))
    block.add_arc((5, 0), 5, 0, 180)
    inner = doc.blocks.new("Notch")
    inner.add_line((0, 0), (0, 6))
    block.add_blockref("Notch", (5, 5), {"rotation": 30, "xscale": -1})
    space.add_blockref("Sleeve cap", (100, 100), at)
    space.add_blockref("Sleeve cap", (120, 100), at | {"rotation": 40, "xscale": 2, "yscale": 2})
    space.add_blockref("Sleeve cap", (140, 130), at | {"xscale": -1.5, "yscale": 1.5, "rotation": -15})
    grid = {"row_count": 2, "column_count": 3, "row_spacing": 20, "column_spacing": 30, "rotation": 10}
    space.add_blockref("Notch", (10, 150), at | grid)
    return doc


def points(entity, fine):
    """Points on an entity itself: ezdxf's own paths turn arcs into one cubic a quarter, 2.7e-4 of the radius off."""
    kind = entity.dxftype()
    if kind == "LINE":
        return [entity.dxf.start, entity.dxf.end]
    if kind in ("LWPOLYLINE", "POLYLINE"):
        return [point for part in entity.virtual_entities() for point in points(part, fine)]
    if kind in ("ARC", "CIRCLE"):
        return list(entity.flattening(fine))
    return list(entity.flattening(fine, 500))


def main():
    folder = Path(sys.argv[1])
    for name, version, units, mm in [
        ("metric-2000", "R2000", 4, 1),
        ("inch-2010", "R2010", 1, 25.4),
        ("centimetre-2018", "R2018", 5, 10),
    ]:
        doc = drawing(version, units)
        doc.saveas(folder / f"{name}.dxf")
        chains = []
        for entity in recursive_decompose(doc.modelspace()):
            chains.append([(p.x * mm, p.y * mm) for p in points(entity, FINE / mm)])
        (folder / f"{name}.json").write_text(json.dumps(chains))


main()
