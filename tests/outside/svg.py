"""SVG files opened by svgelements and by Python's own XML reader, which share nothing with this project: well-formed,
unique ids, nothing filled, the check square true to 0.01 mm, every curve where it was.

    python svg.py OUT_DIR [EXPECTED.json]

Every file is also spoiled on purpose, and every fault must be found.
"""


import io
import math
import re
import sys
import xml.etree.ElementTree as ElementTree

from svg_and_dxf import WITHIN, counted, wrong_square
from svgelements import SVG, Close, CubicBezier, Line, Move, QuadraticBezier
from svgelements import Path as Drawn

MM = 1 / (96 * 0.0393701)  # a millimetre's pixels as svgelements counts them, 5e-7 more than 96 / 25.4


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
    wrong += wrong_square(squares, want)

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


def main(out_dir, expected=None):
    return counted("SVG", out_dir, expected, check, FAULTS, NEEDS)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
