"""Making sheets against the pieces that they are of, read by Python's own HTML parser and measured by svgelements (an SVG
library that shares nothing with this project): every piece under its cloth with its count, every seam with the sewn
length of its first side, every ruffle as long as its ratio says.

    python making_sheets.py OUT_DIR, after `cargo test`

Every sheet is also spoiled on purpose, and every fault must be found.
"""

import json
import re
import subprocess
import sys
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path

from svgelements import Path as Drawn

ROOT = Path(__file__).resolve().parent.parent.parent
OAKTAG = ROOT / "target" / "release" / "oaktag"
STYLES = ["lantern-night", "bellringer-skirt", "mill-wheel-tiers"]
ROUNDED = 1 / 32 + 1e-3  # inches: lengths are told in sixteenths


class Sheet(HTMLParser):
    """Rows of all tables as lists of cells, and the definitions (title, text) of all lists."""

    def __init__(self, text):
        super().__init__()
        self.rows, self.captions, self.terms, self.cell = [], [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        elif tag in ("th", "td", "caption", "dt", "dd"):
            self.cell = ""
        elif tag == "br" and self.cell is not None:
            self.cell += "\n"

    def handle_data(self, data):
        if self.cell is not None:
            self.cell += data.replace("\N{NO-BREAK SPACE}", " ")

    def handle_endtag(self, tag):
        if tag in ("th", "td"):
            self.rows[-1].append(self.cell)
        elif tag == "caption":
            self.captions.append(self.cell)
        elif tag == "dt":
            self.terms.append([self.cell])
        elif tag == "dd":
            self.terms[-1].append(self.cell)
        else:
            return
        self.cell = None


def inches(text):
    """`12 3/8 in` as a number."""
    return float(sum(Fraction(part) for part in text.removesuffix(" in").split()))


def sewn(pieces, span):
    """The sewn length of an edge such as `Front/side backwards` in inches: darts and pleats closed. None for an inner line."""
    piece, name = span.removesuffix(" backwards").split("/", 1)
    edge = next((edge for edge in pieces[piece]["edges"] if edge["name"] == name), None)
    if edge is None:
        return None
    folded = sum(one["mouth"][1] - one["mouth"][0] for one in pieces[piece]["darts"] + pieces[piece]["pleats"] if one["edge"] == name)
    return (Drawn(edge["path"]).length(error=1e-5) - folded) / 25.4


def check(text, file):
    """What is wrong with a sheet, as lines of text."""
    sheet, wrong = Sheet(text), []
    pieces = {piece["name"]: piece for piece in file["pieces"]}
    rows = {row[0]: row for row in sheet.rows if len(row) == 3}
    seams = {row[0]: row for row in sheet.rows if len(row) == 6}
    for name, piece in pieces.items():
        if name not in rows or not rows[name][1].startswith(str(piece["cut"]["count"])):
            wrong.append(f"{name} is not to be cut {piece['cut']['count']} times")
    for cloth in {piece["cut"]["cloth"] for piece in pieces.values()}:
        count = sum(piece["cut"]["count"] for piece in pieces.values() if piece["cut"]["cloth"] == cloth)
        if not any(re.match(rf"From {cloth}.*: {count} pieces?$", caption) for caption in sheet.captions):
            wrong.append(f"{count} pieces of {cloth} are not told")
    terms = dict(sheet.terms)
    for join in file["joins"]:
        row = seams.get(join["name"])
        lengths = [sewn(pieces, span) for span in join["sides"][0]]
        if row is None:
            wrong.append(f"no seam {join['name']}")
        elif None not in lengths and abs(inches(row[3]) - sum(lengths)) > ROUNDED:
            wrong.append(f"{join['name']} is {row[3]}, not {sum(lengths)} in")
        if join["ratio"] >= 1.2:
            told = re.match(r"(\d+) strips?: .*; (.*) in all, gathered (.*) times into (.*);", terms.get(join["name"], ""))
            strips = sum(pieces[name]["cut"]["count"] for name in {span.split("/", 1)[0] for span in join["sides"][0]})
            if not told or int(told[1]) != strips:
                wrong.append(f"{join['name']}: not {strips} strips")
            elif abs(inches(told[2]) - join["ratio"] * inches(told[4])) > ROUNDED * (1 + join["ratio"]):
                wrong.append(f"{join['name']}: {told[2]} is not {join['ratio']} times {told[4]}")
    return wrong


FAULTS = {
    "a seam two inches too long": lambda text: re.sub(r'(data-label="length">)(\d+)', lambda m: f"{m[1]}{int(m[2]) + 2}", text, count=1),
    "a piece less": lambda text: re.sub(r'<tr><th scope="row">(?:(?!</tr>).)*</tr>', "", text, count=1, flags=re.S),
    "one piece more to cut": lambda text: re.sub(r"(<caption>From [^<]*: )(\d+)", lambda m: f"{m[1]}{int(m[2]) + 1}", text, count=1),
    "a ruffle too full": lambda text: re.sub(r"( in all, gathered \d+ times into )(\d+)", lambda m: f"{m[1]}{int(m[2]) + 1}", text, count=1),
}


def main(out_dir):
    folder = Path(out_dir).parent / "making"
    passed, failed = 0, 0
    for style in STYLES:
        to = folder / style
        make = [OAKTAG, "make", f"samples/{style}.style.kdl", "--measures", "samples/maren-holt.measures.kdl", "--device", "roll-inkjet", "-o", to]
        run = subprocess.run(make, cwd=ROOT, capture_output=True, text=True)
        if run.returncode:
            print(run.stderr)
            failed += 1
            continue
        text = (to / "maren-holt" / "making-sheet.html").read_text("utf-8")
        file = json.loads(next((to / "maren-holt").glob("*.pieces.json")).read_text("utf-8"))
        wrong = check(text, file)
        for name, spoil in FAULTS.items():
            spoilt = spoil(text)
            if spoilt != text and not check(spoilt, file):
                wrong.append(f"the seeded fault was not found: {name}")
            if spoilt == text and style == "lantern-night":
                wrong.append(f"the fault could not be seeded: {name}")
        for line in wrong:
            print(f"{style}: {line}")
        passed, failed = passed + (not wrong), failed + bool(wrong)
    print(f"making sheets: {passed} passed, {failed} failed")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
