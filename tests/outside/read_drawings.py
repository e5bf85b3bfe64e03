"""Drawings made by other programs' libraries, read by `oaktag read`, against what those libraries themselves say of the
geometry: ezdxf of DXF files (lines, arcs, circles, ellipses, polylines with bulges, splines, blocks scaled and turned,
releases and units), svgwrite's SVG files (transforms, units, shapes, arcs, view boxes, nested groups, 96, 90 and 72 to
the inch) as svgpathtools and svgelements see them; notches that ezdxf draws line by line.

    python read_drawings.py OUT_DIR

Every piece is compared by its area, its length and its distance from the library's own points. Drawings are spoiled on
purpose, and every fault must be found.
"""

import functools
import io
import json
import logging
import math
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import ezdxf
import numpy as np
import shapely
import svgpathtools
import svgwrite
from ezdxf.disassemble import recursive_decompose
from jobs import Count
from svgelements import SVG, Close, Line, Move, Shape
from svgelements import Path as Drawn

logging.getLogger("ezdxf").setLevel(logging.CRITICAL)  # that R12 has no $INSUNITS is what is wanted
ROOT = Path(__file__).resolve().parent.parent.parent
PROGRAM = ROOT / "target" / "release" / "oaktag"
FINE = 1e-4  # mm between an arc and the chords of a library's
WITHIN = 2e-3  # mm: arcs as cubics within 0.0005 mm, JSON's digits, both sides' chords
INCH = 25.4


def read(folder, name, text, *options):
    """The pieces that `oaktag read` finds: name to outline, allowances, all else; or what it said where it refused."""
    file = Path(folder) / name
    file.write_text(text, "utf-8")
    run = subprocess.run([PROGRAM, "read", file, *options], capture_output=True, text=True, errors="replace", cwd=folder)
    if run.returncode != 0:
        return None, run.stderr
    pieces = {}
    for piece in json.loads(run.stdout)["pieces"]:
        ring = []
        for edge in piece["edges"]:
            ring += points(svgpathtools.parse_path(edge["path"]))[int(bool(ring)) :]
        pieces[piece["name"]] = (shapely.Polygon(ring), piece)
    return pieces, run.stderr


def points(path):
    """Points of svgpathtools' segments, as many as keep the chords within FINE."""
    found = [path[0].start]
    for segment in path:
        if isinstance(segment, svgpathtools.Line):
            found.append(segment.end)
            continue
        a, b, *more = segment.bpoints()
        a, b, c, d = (a, b, *more) if len(more) == 2 else (a, a + 2 / 3 * (b - a), more[0] + 2 / 3 * (b - more[0]), more[0])
        bend = max(abs(a - 2 * b + c), abs(b - 2 * c + d))
        t = np.linspace(0, 1, max(1, math.ceil(math.sqrt(6 * bend / (8 * FINE)))) + 1)[1:]
        found += list((1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t * t * (1 - t) * c + t**3 * d)
    return [(z.real, z.imag) for z in found]


def apart(found, wanted):
    """What is wrong with an outline, or nothing."""
    # The vertices of one from the lines of the other, both ways.
    off = max(
        max(shapely.distance(shapely.points(shapely.get_coordinates(a)), b.exterior)) for a, b in ((found, wanted), (wanted, found))
    )
    area, length = abs(found.area - wanted.area), abs(found.length - wanted.length)
    if off > WITHIN or area > WITHIN * wanted.length or length > 1e-4 * wanted.length:
        return f"{off:.4f} mm off, {area:.3f} mm² and {length:.4f} mm of length apart"
    return ""


def compare(pieces, wanted):
    if pieces is None:
        return ["refused"]
    if sorted(pieces) != sorted(wanted):
        return [f"pieces {sorted(pieces)}, not {sorted(wanted)}"]
    wrong = [(name, apart(pieces[name][0], outline)) for name, outline in wanted.items()]
    return [f"{name}: {what}" for name, what in wrong if what]


# Notches

MARKS = {  # at x on the lower side, the corners of a mark, and whether it is drawn line by line
    "a slit": (20, [(0, 0), (0, 6)], True),
    "a V": (50, [(-3, 0), (0, 6), (3, 0)], True),
    "a V in one": (80, [(-3, 0), (0, 6), (3, 0)], False),
    "a U": (110, [(-2, 0), (-2, 5), (2, 5), (2, 0)], True),
    "a V that points outward": (140, [(-3, 0), (0, -6), (3, 0)], True),
    "the first of two Vs": (165, [(-2, 0), (0, 4), (2, 0)], True),
    "the second of two Vs": (175, [(2, 0), (0, 4), (-2, 0)], True),
}


def notched(fault=0.0):
    """A square with notches on its lower side, and where each is, by ezdxf's own points: the middle of its mark. With a fault
    the second leg of each V begins so far off."""
    doc = ezdxf.new("R2000", units=4)
    space = doc.modelspace()
    space.add_lwpolyline([(0, 0), (200, 0), (200, 200), (0, 200)], close=True, dxfattribs={"layer": "sew"})
    wanted = {}
    for name, (x, corners, by_line) in MARKS.items():
        points = [(x + dx, dy) for dx, dy in corners]
        layer = {"layer": "notch"}
        if by_line:
            drawn = [space.add_line(a, b, layer) for a, b in zip(points, points[1:])]
            if "V" in name and fault:
                drawn[1].dxf.start = (drawn[1].dxf.start.x + fault, drawn[1].dxf.start.y)
            ends = {tuple(end) for line in drawn for end in (line.dxf.start.vec2, line.dxf.end.vec2)}
        else:
            ends = {tuple(point[:2]) for point in space.add_lwpolyline(points, dxfattribs=layer).get_points("xy")}
        wanted[name] = sum(x for x, _ in ends) / len(ends)
    out = io.StringIO()
    doc.write(out)
    return out.getvalue(), sorted(wanted.values())


def notches_wrong(pieces, wanted):
    if pieces is None or len(pieces) != 1:
        return ["refused" if pieces is None else f"{len(pieces)} pieces"]
    ((_, piece),) = pieces.values()
    edges = {edge["name"]: svgpathtools.parse_path(edge["path"]) for edge in piece["edges"]}
    places = [edges[notch["edge"]].point(notch["at"] / edges[notch["edge"]].length()) for notch in piece["notches"]]
    found = sorted(place.real for place in places)
    same = len(found) == len(wanted) and all(abs(a - b) < WITHIN for a, b in zip(found, wanted))
    return [] if same and all(abs(place.imag) < WITHIN for place in places) else [f"notches at {found}, not {wanted}"]


# DXF


def dxf(release, unit, mm):
    """A drawing with ten pieces and the outline of each as ezdxf sees it, mm."""
    doc = ezdxf.new(release, units=unit)
    space, k = doc.modelspace(), 1 / mm
    place = {}

    def piece(name, x, y, draw):
        """One piece drawn in a block of its own: blocks tell pieces that lie over each other."""
        block = doc.blocks.new(name)
        draw(block)
        place[name] = space.add_blockref(name, (x * k, y * k))

    def lines(block):
        corners = [(0, 0), (200, 10), (190, 300), (0, 280)]
        for a, b in zip(corners, corners[1:] + corners[:1]):
            block.add_line((a[0] * k, a[1] * k), (b[0] * k, b[1] * k))

    def arcs(block):
        block.add_line((0, 0), (160 * k, 0))
        block.add_arc((160 * k, 80 * k), 80 * k, 270, 90)
        block.add_line((160 * k, 160 * k), (0, 160 * k))
        block.add_arc((0, 80 * k), 80 * k, 90, 270)

    def mirrored(block):
        # Seen from behind: x runs to the left.
        block.add_arc((-100 * k, 0), 60 * k, 0, 180, dxfattribs={"extrusion": (0, 0, -1)})
        block.add_line((40 * k, 0), (160 * k, 0))

    def bulges(block):
        corners = [(0, 0, 0.3), (150 * k, 0, 0), (150 * k, 200 * k, -0.2), (0, 200 * k, 0)]
        if release == "R12":
            block.add_polyline2d([(x, y, 0, 0, b) for x, y, b in corners], format="xyseb", close=True)
        else:
            block.add_lwpolyline(corners, "xyb", close=True)

    def old_polyline(block):
        line = block.add_polyline2d([(0, 0), (120 * k, 0), (120 * k, 90 * k), (0, 90 * k)], close=True)
        line[2].dxf.bulge = 0.5

    def circle(block):
        block.add_circle((0, 0), 70 * k)

    def ellipse(block):
        block.add_ellipse((0, 0), (90 * k, 30 * k), 0.4)

    def half_ellipse(block):
        block.add_ellipse((0, 0), (90 * k, 0), 0.6, 0, math.pi)
        block.add_line((-90 * k, 0), (90 * k, 0))

    def spline(block):
        control = [(0, 0), (40, -60), (160, -60), (200, 0), (240, 90), (120, 200), (60, 160), (0, 0)]
        knots = [0] * 4 + [1, 2, 3, 4] + [5] * 4
        line = block.add_spline(degree=3)
        line.control_points, line.knots = [(x * k, y * k) for x, y in control], knots

    def quadratic(block):
        line = block.add_spline(degree=2)
        line.control_points, line.knots = [(x * k, y * k) for x, y in [(0, 0), (100, -50), (200, 0)]], [0, 0, 0, 1, 1, 1]
        block.add_line((200 * k, 0), (100 * k, 180 * k))
        block.add_line((100 * k, 180 * k), (0, 0))

    drawn = [lines, arcs, mirrored, bulges, old_polyline, circle]
    if release != "R12":
        drawn += [ellipse, half_ellipse, spline, quadratic]
    for number, draw in enumerate(drawn):
        piece(draw.__name__.replace("_", " "), 300 * (number % 4), 400 * (number // 4), draw)
    place["arcs"].dxf.rotation = 30
    place["bulges"].dxf.xscale, place["bulges"].dxf.yscale = -1.5, 1.5
    place["lines"].dxf.xscale = place["lines"].dxf.yscale = 0.7
    if release != "R12":
        place["spline"].dxf.xscale, place["spline"].dxf.rotation = 1.4, -15
    wanted = {}
    for name, reference in place.items():
        parts = [part for entity in recursive_decompose([reference]) for part in simple(entity)]
        wanted[name] = closed([[(p.x * mm, p.y * mm) for p in flattened(part, FINE / mm)] for part in parts])
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue(), wanted


def simple(entity):
    """A polyline's lines and arcs; the arcs may run the other way."""
    return entity.virtual_entities() if entity.dxftype() in ("LWPOLYLINE", "POLYLINE") else [entity]


def flattened(entity, fine):
    """Points on an entity itself: ezdxf's own paths turn arcs into one cubic a quarter, 2.7e-4 of the radius off."""
    kind = entity.dxftype()
    if kind == "LINE":
        return [entity.dxf.start, entity.dxf.end]
    return list(entity.flattening(fine) if kind in ("ARC", "CIRCLE") else entity.flattening(fine, 60))


def closed(chains):
    """Chains end to end as one ring, some of them backwards."""
    ring, left = list(chains[0]), list(chains[1:])
    while left:
        ends = [(math.dist(ring[-1], chain[end]), at, end) for at, chain in enumerate(left) for end in (0, -1)]
        _, at, end = min(ends)
        chain = left.pop(at)
        ring += chain if end == 0 else chain[::-1]
    return shapely.Polygon(ring)


# SVG

STYLE = {"stroke": "black", "fill": "none"}


def svg(size, view):
    """A drawing by svgwrite, all in user units."""
    sheet = svgwrite.Drawing(size=size, debug=False)
    if view:
        sheet.viewbox(*view)
    add = lambda shape: sheet.add(shape)
    path = lambda name, d, **more: sheet.path(d=d, id=name, **STYLE, **more)
    add(path("Front", "M20 20H220V280C180 300 60 300 20 280Z"))
    add(path("Collar", "m300 60a90 60 20 0 1 160 40l-20 80-120 10z"))
    add(path("Sleeve", "M500 40q60-40 120 0t80 60L660 220S560 260 520 200Z"))
    add(sheet.rect((20, 340), (120, 90), rx=18, ry=12, id="Pocket", **STYLE))
    add(sheet.circle((240, 390), 55, id="Round patch", **STYLE))
    add(sheet.ellipse((380, 390), (70, 35), id="Oval patch", transform="rotate(25 380 390)", **STYLE))
    add(sheet.polygon([(480, 330), (600, 340), (560, 440)], id="Gusset", **STYLE))
    group = sheet.g(transform="translate(60 520) rotate(12)")
    inner = sheet.g(transform="scale(1.5 .8) skewX(10)")
    inner.add(path("Yoke", "M0 0H120A30 30 0 0 1 120 60H0z"))
    inner.add(sheet.polyline([(150, 0), (230, 0), (230, 70), (150, 70), (150, 0)], id="Flap", **STYLE))
    group.add(inner)
    group.add(path("Cuff", "M380 0h190v70h-190z", transform="matrix(.9 .2 -.3 1.1 4 5)"))
    add(group)
    return sheet.tostring()


sampled = {}  # by path data: most shapes are the same on every page


def samples(path):
    ring = []
    for segment in path:
        if not isinstance(segment, Move):
            steps = 1 if isinstance(segment, (Line, Close)) else 400
            ring += [segment.point(i / steps) for i in range(steps + 1)]
    return ring


@functools.cache
def seen(text):
    """Every closed shape's outline by its id as svgelements sees it, mm, y up from the page's lower edge."""
    mm = 1 / (96 * 0.0393701)  # a millimetre's pixels as svgelements counts them
    tree = SVG.parse(io.StringIO(text), reify=False, ppi=96)
    height, wanted = tree.height * mm, {}
    for shape in tree.elements():
        if isinstance(shape, Shape) and shape.id:
            # Sampled before it is transformed: svgelements' own arcs go wrong under a skew.
            drawn = Drawn(shape)
            name = drawn.d(transformed=False)
            ring = sampled[name] if name in sampled else sampled.setdefault(name, samples(drawn))
            ring = [shape.transform.point_in_matrix_space(p) for p in ring]
            wanted[shape.id] = shapely.Polygon([(p.x * mm, height - p.y * mm) for p in ring])
    return wanted


def scaled(outlines, by):
    return {name: shapely.transform(outline, lambda points: points * by) for name, outline in outlines.items()}


PAGES = {
    "millimetres": (("800mm", "800mm"), (0, 0, 800, 800)),
    "centimetres": (("60cm", "60cm"), (0, 0, 800, 800)),
    "inches": (("20in", "20in"), (-40, -30, 900, 900)),
    "points": (("1800pt", "1800pt"), (0, 0, 800, 800)),
    "picas": (("150pc", "150pc"), (0, 0, 800, 800)),
    "wide": (("900mm", "600mm"), (10, 5, 800, 800)),
}


def own_units(text):
    """The pocket's sides in units of length, which are 96ths of an inch in user units (CSS Values 3, section 6.2)."""
    return text.replace('width="120"', 'width="30mm"', 1).replace('height="90"', 'height="1.5in"', 1)


def main(out_dir):
    count = Count("drawings read as pieces")
    if not PROGRAM.is_file():
        print("drawings read as pieces: not run: the program is not built")
        return 1
    tasks = []
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(2) as pool:

        def good(name, made, options=(), fault=None):
            text, wanted = made

            def run():
                pieces, said = read(folder, name, text, *options)
                return name, fault, compare(pieces, wanted), said

            tasks.append(pool.submit(run))

        def marked(name, made, fault=None):
            text, wanted = made

            def run():
                pieces, said = read(folder, name, text)
                return name, fault, notches_wrong(pieces, wanted), said

            tasks.append(pool.submit(run))

        def asked(name, text, words):
            def run():
                pieces, said = read(folder, name, text)
                said = " ".join(said.replace("│", " ").split())
                return name, None, [] if pieces is None and words in said else [f"not asked: {said[:200]}"], said

            tasks.append(pool.submit(run))

        for name, release, unit, mm in [
            ("metric-2000", "R2000", 4, 1),
            ("inches-2010", "R2010", 1, INCH),
            ("centimetres-2018", "R2018", 5, 10),
            ("feet-2004", "R2004", 2, 12 * INCH),
            ("metres-2007", "R2007", 6, 1000),
        ]:
            good(f"{name}.dxf", dxf(release, unit, mm))
        # No $INSUNITS: $MEASUREMENT alone, and what the user says counts for more than that.
        for metric, unit, mm in [(1, "mm", 1), (0, "in", INCH)]:
            bare = without_units(dxf("R12", 0, mm), metric)
            good(f"measurement-{unit}.dxf", bare)
        good("measurement-overruled.dxf", without_units(dxf("R12", 0, 1), 0), ("--unit", "mm"))
        asked("units-unsaid.dxf", without_units(dxf("R12", 0, 1), None)[0], "does not say its unit")
        good("units-answered.dxf", without_units(dxf("R12", 0, 10), None), ("--unit", "cm"))

        marked("notches.dxf", notched())
        marked("notches-apart.dxf", notched(0.5), fault="legs of Vs that do not meet")
        marked("notches-moved.dxf", (notched()[0], [x + 0.1 for x in notched()[1]]), fault="a tenth of a millimetre")

        for name, (size, view) in PAGES.items():
            text = svg(size, view)
            good(f"{name}.svg", (text, seen(text)))
        text = svg(("80cm", "60cm"), (0, 0, 800, 800)).replace("<svg ", '<svg preserveAspectRatio="xMinYMax slice" ', 1)
        good("slice.svg", (text, seen(text)))
        bare = svg(("800", "800"), None)
        asked("dots-unsaid.svg", bare, "96, 90 or 72 to the inch?")
        asked("dots-unsaid-though-the-page-is-said.svg", svg(("800mm", "800mm"), None), "96, 90 or 72 to the inch?")
        for dots in (96, 90, 72):
            good(f"dots-{dots}.svg", (bare, scaled(seen(bare), 96 / dots)), ("--dpi", str(dots)))
        text = own_units(svg(*PAGES["millimetres"]))
        good("own-units.svg", (text, seen(text)))

        # Seeded faults, each a drawing that no longer is what the library was asked of.
        first = dxf("R2000", 4, 1)
        for fault, spoil in {
            "inches": lambda t: t.replace("$INSUNITS\n 70\n4\n", "$INSUNITS\n 70\n1\n"),
            "a bulge the other way": lambda t: t.replace("\n 42\n0.3\n", "\n 42\n-0.3\n"),
            "a block turned": lambda t: t.replace("\n 50\n30.0\n", "\n 50\n30.01\n"),
            "a knot moved": lambda t: t.replace("\n 40\n3.0\n", "\n 40\n3.01\n"),
            "a radius": lambda t: t.replace("\n 40\n70.0\n", "\n 40\n70.01\n"),
        }.items():
            spoilt = spoil(first[0])
            count.good(spoilt != first[0], f"{fault}: nothing to spoil")
            good(f"fault-{fault}.dxf".replace(" ", "-"), (spoilt, first[1]), fault=fault)
        text = svg(*PAGES["millimetres"])
        for fault, spoil in {
            "a tenth of a millimetre": lambda t: t.replace("M20 20H220", "M20 20H220.1"),
            "the other arc": lambda t: t.replace("a90 60 20 0 1 ", "a90 60 20 0 0 "),
            "skewed otherwise": lambda t: t.replace("skewX(10)", "skewX(10.02)"),
            "transforms the other way round": lambda t: t.replace("translate(60 520) rotate(12)", "rotate(12) translate(60 520)"),
            "another page": lambda t: t.replace('width="800mm"', 'width="800.5mm"').replace('height="800mm"', 'height="800.5mm"'),
            "a smaller corner": lambda t: t.replace('rx="18"', 'rx="18.1"'),
        }.items():
            spoilt = spoil(text)
            count.good(spoilt != text, f"{fault}: nothing to spoil")
            good(f"fault-{fault}.svg".replace(" ", "-"), (spoilt, seen(text)), fault=fault)

        for task in tasks:
            name, fault, wrong, said = task.result()
            if fault:
                count.good(wrong, f"{name}: the seeded fault was not found: {fault}")
            else:
                count.good(not wrong, f"{name}: {'; '.join(wrong)} {said[:600] if wrong else ''}")
    return count.done()


def without_units(made, metric):
    """A drawing whose header says no more than whether it is metric, or not even that."""
    text, wanted = made
    for variable in ("$INSUNITS", "$MEASUREMENT"):
        text = re.sub(rf"^  9\n\{variable}\n.*\n.*\n", "", text, flags=re.M)
    said = "" if metric is None else f"  9\n$MEASUREMENT\n 70\n{metric}\n"
    return text.replace("  2\nHEADER\n", f"  2\nHEADER\n{said}", 1), wanted


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
