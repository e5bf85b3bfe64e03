"""The sheet at a quarter of the size, measured by svgelements (an SVG library that shares nothing with this project): every
piece's cut line has a quarter of the length and a sixteenth of the area that the pieces' file states, every sew line a
quarter of its length.

    python quarter_scale.py OUT_DIR

Every sheet is also spoiled on purpose, and every fault must be found.
"""

import json
import re
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

from svgelements import Path as Drawn

WITHIN = 0.01  # mm
SHEET = "quarter-scale-projector.svg"  # its view box is in millimetres


def length(path):
    return Drawn(path).length(error=1e-4, min_depth=3)


def area(path):
    """By the shoelace formula over chords; 64 of them to a curve stray by a few parts in 10⁵."""
    points = [segment.point(step / 64) for segment in Drawn(path) for step in range(64)]
    return abs(sum(a.x * b.y - b.x * a.y for a, b in zip(points, points[1:] + points[:1]))) / 2


def drawn(text):
    """Role, piece and path of every stroke."""
    for group in ElementTree.fromstring(text):
        role = re.sub(r"-\d+$", "", group.get("id") or "")
        for path in group:
            yield role, path.get("data-piece"), path.get("d")


def check(text, pieces):
    """What is wrong with a sheet, as lines of text."""
    wrong = []
    strokes = list(drawn(text))
    for piece in pieces:
        name = piece["name"]
        cuts = [path for role, of, path in strokes if (role, of) == ("cut", name)]
        if len(cuts) != 1:
            wrong.append(f"{name}: {len(cuts)} cut lines")
            continue
        whole, small = piece["cut_line"], cuts[0]
        if abs(length(small) - length(whole) / 4) > WITHIN or abs(area(small) / area(whole) * 16 - 1) > 1e-3:
            wrong.append(f"{name}: a cut line of {length(small)} mm for {length(whole)} mm")
        sewn = [length(path) for role, of, path in strokes if (role, of) == ("sew", name)]
        for edge in piece["edges"]:
            if edge["allowance"] > 0:
                long = length(edge["path"]) / 4
                nearest = min(sewn, key=lambda other: abs(long - other), default=0)
                if abs(long - nearest) > WITHIN:
                    wrong.append(f"{name}: no sew line as long as {edge['name']}, {long} mm")
                else:
                    sewn.remove(nearest)
    return wrong


def first(role, change):
    """A fault in the first path of a role's group."""
    return lambda text: re.sub(rf'(<g [^>]*id="{role}"[^>]*>\s*<path d=")([^"]*)', lambda m: m[1] + change(m[2]), text, count=1)


FAULTS = {
    "a cut line a thousandth too long": first("cut", lambda d: re.sub(r"[\d.]+", lambda m: str(float(m[0]) * 1.001), d)),
    "a sew line cut short": first("sew", lambda d: re.sub(r"[\d.]+", lambda m: str(float(m[0]) * 0.99), d)),
    "a cut line less": lambda text: re.sub(r'(id="cut"[^>]*>\s*)<path [^>]*/>', r"\1", text, count=1),
}


def main(out_dir):
    passed, failed = 0, 0
    for sheet in sorted(Path(out_dir).glob(f"*/{SHEET}")):
        text = sheet.read_text("utf-8")
        pieces = json.loads(next(sheet.parent.glob("*.pieces.json")).read_text("utf-8"))["pieces"]
        wrong = check(text, pieces)
        for line in wrong:
            print(f"{sheet.parent.name}: {line}")
        for name, spoil in FAULTS.items():
            spoilt = spoil(text)
            if spoilt == text or not check(spoilt, pieces):
                wrong.append(name)
                print(f"{sheet.parent.name}: the seeded fault was not found: {name}")
        passed, failed = passed + (not wrong), failed + bool(wrong)
    if passed + failed == 0:
        print("quarter scale: not run: no sheets in the samples")
        return 1
    print(f"quarter scale: {passed} passed, {failed} failed")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
