"""Compares src/text/hershey.txt with the Hershey Fonts as the PyPI package Hershey-Fonts carries them, which is another
copy than the one the file was converted from (the Debian package hershey-fonts-data).

Run it from anywhere: exit code 0 where every glyph agrees and every seeded fault is found.
"""

import copy
import sys
from pathlib import Path

from HersheyFonts import HersheyFonts

OURS = Path(__file__).resolve().parents[2] / "src" / "text" / "hershey.txt"


def ours():
    """Glyphs of the file: character to width and strokes, baseline y = 0, y up."""
    glyphs = {}
    for line in OURS.read_text(encoding="utf-8").splitlines():
        if not line.startswith("//"):
            key, width, points = line.split(" ", 2)
            strokes = [[tuple(map(int, p.split(","))) for p in s.split(" ")] for s in points.split(" ; ")]
            glyphs[key] = (int(width), strokes)
    return glyphs


def theirs():
    """The package's roman simplex in the same form; its y runs down from the cap line."""
    fonts = HersheyFonts()
    fonts.load_default_font("rowmans")
    glyphs = {}
    for key, glyph in fonts.all_glyphs.items():
        strokes = [[(int(x - glyph.left_offset), int(glyph.base_line - y)) for x, y in s] for s in glyph.strokes]
        # The font has the degree sign in the place of DEL.
        glyphs["°" if key == "\x7f" else key] = (int(glyph.char_width), strokes)
    return glyphs


def differences(a, b):
    return [key for key, glyph in a.items() if glyph != b.get(key)]


def main():
    mine, other = ours(), theirs()
    wrong = differences(mine, other)
    print(f"{len(mine)} glyphs compared, {len(wrong)} differ: {' '.join(wrong)}")
    if len(mine) < 85 or wrong:
        return 1
    for what, spoil in [
        ("a point moved by one unit", lambda g: g["R"][1][0].__setitem__(0, (5, 21))),
        ("a stroke lost", lambda g: g["E"][1].pop()),
        ("another width", lambda g: g.__setitem__("o", (g["o"][0] + 1, g["o"][1]))),
    ]:
        spoiled = copy.deepcopy(mine)
        spoil(spoiled)
        if not differences(spoiled, other):
            print(f"seeded fault not found: {what}")
            return 1
    print("3 seeded faults found")
    return 0


if __name__ == "__main__":
    sys.exit(main())
