"""SVG files opened by svgelements, a reader that shares nothing with this project.

    python svg.py FOLDER EXPECTED.json [--seed-faults]

EXPECTED maps each file's name to
    square    nominal side of the check square, mm
    x y skew  the machine's own J = [[x, skew], [0, y]]; the file must hold the square through J's inverse
    strokes   how many paths it draws (optional)
    page      width and height of the page, mm (optional)
    beziers   for each path in order its cubics and lines raised to cubics, four points each, mm, y up (optional)

Every file must be well-formed XML, have unique ids, draw nothing filled, and hold the square to 0.01 mm. With
--seed-faults each file is also spoiled on purpose, and every fault must be found. Exit code 1 where something is wrong.
"""

import io
import json
import math
import re
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

from svgelements import SVG, Close, CubicBezier, Line, Move, QuadraticBezier
from svgelements import Path as Drawn

WITHIN = 0.01  # mm
MM = 1 / (96 * 0.0393701)  # a millimetre's pixels as svgelements counts them, 5e-7 more than 96 / 25.4


def expected_square(want):
    """The square's corners through the inverse of J, its lower left corner at 0, 0."""
    side, x, y, skew = want["square"], want["x"], want["y"], want["skew"]
    through = lambda u, v: ((u - skew * v / y) / x, v / y)
    return [through(u, v) for u, v in [(0, 0), (side, 0), (side, side), (0, side)]]


def sides(corners):
    return [math.dist(corners[i], corners[(i + 1) % 4]) for i in range(4)]


def cubics(path, height):
    """A path's segments as cubics in mm, y up."""
    at = lambda p: (p.x * MM, height - p.y * MM)
    between = lambda a, b, share: (a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share)
    for segment in path:
        if isinstance(segment, Move):
            continue
        start, end = at(segment.start), at(segment.end)
        if isinstance(segment, CubicBezier):
            yield [start, at(segment.control1), at(segment.control2), end]
        elif isinstance(segment, QuadraticBezier):
            control = at(segment.control)
            yield [start, between(start, control, 2 / 3), between(end, control, 2 / 3), end]
        elif isinstance(segment, Line) or (isinstance(segment, Close) and math.dist(start, end) > 1e-7):
            yield [start, between(start, end, 1 / 3), between(start, end, 2 / 3), end]


def check(text, want):
    """What is wrong with a file, as lines of text."""
    wrong = []
    try:
        tree = ElementTree.fromstring(text)
        ids = [element.get("id") for element in tree.iter() if element.get("id")]
        svg = SVG.parse(io.StringIO(text), reify=True, ppi=96)
    except Exception as error:  # whatever the readers raise, the file is at fault
        return [f"does not open: {error!r}"]
    if len(ids) != len(set(ids)):
        wrong.append("an id stands twice")
    width, height = svg.width * MM, svg.height * MM
    if "page" in want and math.dist((width, height), want["page"]) > WITHIN:
        wrong.append(f"page {width} x {height}, not {want['page']}")
    paths = [element for element in svg.elements() if isinstance(element, Drawn)]
    if "strokes" in want and len(paths) != want["strokes"]:
        wrong.append(f"{len(paths)} paths, not {want['strokes']}")
    for path in paths:
        if path.fill.value is not None or path.stroke.value is None:
            wrong.append("a path is filled or not stroked")
            break

    squares = []
    for group in svg.select(lambda element: str(element.id or "").split("-")[0] == "square"):
        for path in (element for element in group.select() if isinstance(element, Drawn)):
            chain = [cubic for cubic in cubics(path, height) if math.dist(cubic[0], cubic[3]) > 1e-6]
            if len(chain) == 4:
                squares.append([cubic[0] for cubic in chain])
    target = sorted(sides(expected_square(want)))
    if not any(all(abs(a - b) <= WITHIN for a, b in zip(sorted(sides(c)), target)) for c in squares):
        found = [[round(side, 3) for side in sides(c)] for c in squares]
        wrong.append(f"check square: sides {found}, expected {[round(side, 3) for side in target]}")

    for number, chain in enumerate(want.get("beziers", [])):
        found = list(cubics(paths[number], height)) if number < len(paths) else []
        apart = max((math.dist(a, b) for one, two in zip(found, chain) for a, b in zip(one, two)), default=math.inf)
        if len(found) != len(chain) or apart > 1e-6:
            wrong.append(f"path {number}: {len(found)} curves of {len(chain)}, {apart} mm apart")
    return wrong


FAULTS = {
    "pixels for millimetres": lambda text: re.sub(r'((?:width|height)="[\d.]+)mm"', r'\1px"', text, count=2),
    "a tenth of a per cent": lambda text: text.replace("<g ", '<g transform="scale(1.001)" '),
    "a path less": lambda text: re.sub(r"<path [^>]*/>\n", "", text, count=1),
    "an id twice": lambda text: re.sub(r' id="[a-z-]+"', ' id="square"', text),
    "filled": lambda text: text.replace('fill="none"', 'fill="#111111"'),
    "not stroked": lambda text: re.sub(r'stroke="#\w+"', 'stroke="none"', text),
    "a bare ampersand": lambda text: text.replace("<title>", "<title>&"),
    "a moved point": lambda text: re.sub(r'(C[\d.-]+ )([\d.-]+)', lambda m: f"{m[1]}{float(m[2]) + 0.01}", text, count=1),
    "half the file": lambda text: text[: len(text) // 2],
}
NEEDS = {"a path less": "strokes", "a moved point": "beziers"}


def main():
    folder, expected = Path(sys.argv[1]), json.loads(Path(sys.argv[2]).read_text("utf-8"))
    names = sorted(name for name in expected if name.endswith(".svg"))
    failed = not names
    for name in names:
        text, want = (folder / name).read_bytes().decode("utf-8"), expected[name]
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
