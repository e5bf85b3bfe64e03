"""Sizes laid over one another in one file, read by programs that share nothing with this project. Each person's own pieces
(`*.pieces.json` of the samples, with their cut lines) must be found again by layer, line type and name, every size of a
piece in the same place: SVG by ElementTree and svgpathtools, DXF by ezdxf, PDF by pikepdf.

    python nested.py OUT_DIR

Every file is also spoiled on purpose, and every fault must be found.
"""

import io
import json
import re
import sys
from collections import defaultdict
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pikepdf
from audited import opened
from jobs import Count, stray
from svg_and_dxf import ROOT, correction
from svgpathtools import parse_path


WITHIN = 0.03  # mm: chords of 0.02 mm after D6673, and those that are drawn here


def chain(data):
    """A path as points, chords no longer than about 2 mm."""
    points = []
    for segment in parse_path(data):
        steps = max(2, int(segment.length(error=1e-3) / 2) + 1) if type(segment).__name__ != "Line" else 1
        points += [segment.point(i / steps) for i in range(steps)]
    points.append(points[0])
    return np.array([[p.real, p.imag] for p in points])


def apart(one, other):
    return max(stray(one, other), stray(other, one))


def people(out_dir):
    """Of every person the pieces: name to cut line and angle of the grain."""
    found = {}
    for path in sorted(Path(out_dir).glob("*/*.pieces.json")):
        pieces = json.loads(path.read_text("utf-8"))
        found[pieces["for"]] = {
            piece["name"]: (chain(piece["cut_line"]), np.subtract(piece["grain"][1], piece["grain"][0]))
            for piece in pieces["pieces"]
        }
    return found


def layers(text, j):
    """Of an SVG file's groups with a size: (role, number), title, dashes, and the paths by piece, mm, y up, J undone."""
    root = ElementTree.fromstring(text)
    high = float(root.get("viewBox").split()[3])
    found = {}
    for group in root.iter("{http://www.w3.org/2000/svg}g"):
        sized = re.fullmatch(r"([a-z]+)-(\d+)", group.get("id") or "")
        title = group.find("{http://www.w3.org/2000/svg}title")
        if sized is None or title is None:
            continue
        paths = defaultdict(list)
        for path in group.iter("{http://www.w3.org/2000/svg}path"):
            points = chain(path.get("d"))
            points[:, 1] = high - points[:, 1]
            x, y = points.T
            paths[path.get("data-piece")].append(np.column_stack([j["x"] * x + j["skew"] * y, j["y"] * y]))
        found[sized[1], int(sized[2])] = ((title.text or "").strip(), group.get("stroke-dasharray"), paths)
    return found


def placed(points, turn, to):
    """Points turned, their box's lower left corner at a place."""
    turned = points @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return turned, to - turned.min(0)


def check_svg(text, want, j):
    wrong, found = [], layers(text, j)
    names = {}
    for (role, number), (title, dashes, _) in found.items():
        said, _, person = title.partition(", ")
        if said != role or names.setdefault(number, person) != person:
            wrong.append(f"{role}-{number} is titled {title!r}")
    if sorted(names.values()) != sorted(want):
        return [*wrong, f"sizes {names}, not {sorted(want)}"]
    types = [dashes for (role, _), (_, dashes, _) in found.items() if role == "cut"]
    if len(set(types)) != len(want):
        wrong.append(f"{len(set(types))} line types for {len(want)} sizes")
    where = {}
    for number, person in sorted(names.items()):
        _, _, paths = found["cut", number]
        labels = found.get(("label", number), (None, None, {}))[2]
        if set(paths) != set(want[person]):
            wrong.append(f"{person}: pieces {sorted(paths)}")
            continue
        for piece, (cut_line, grain) in want[person].items():
            (drawn,) = paths[piece] if len(paths[piece]) == 1 else (None,)
            if drawn is None:
                wrong.append(f"{person}, {piece}: {len(paths[piece])} cut lines")
                continue
            # The grain runs along the roll, one way or the other. The first size says where the drafts' origin lies.
            if piece not in where:
                along = np.arctan2(grain[1], grain[0])
                tries = [(turn, *placed(cut_line, turn, drawn.min(0))) for turn in (-along, np.pi - along)]
                best = min(tries, key=lambda one: apart(one[1] + one[2], drawn))
                where[piece] = best[0], best[2]
            turn, shift = where[piece]
            off = apart(placed(cut_line, turn, np.zeros(2))[0] + shift, drawn)
            if off > WITHIN:
                wrong.append(f"{person}, {piece}: the cut line is {off:.3f} mm off")
            # A name stands beside its own line, if there is room.
            far = max((stray(letter, drawn) for letter in labels.get(piece, [])), default=0)
            if far > 8:
                wrong.append(f"{person}, {piece}: its name is {far:.1f} mm from its line")
    named = sum(len(found[key][2]) for key in found if key[0] == "label")
    if named < 0.8 * sum(len(pieces) for pieces in want.values()):
        wrong.append(f"only {named} names beside the lines")
    return wrong


def check_blocks(text, want):
    """After ASTM D6673: a block for each piece and size, in the piece's own coordinates."""
    doc, wrong = opened(text)
    if doc is None:
        return wrong
    places, met = defaultdict(set), []
    for insert in doc.modelspace().query("INSERT"):
        block = doc.blocks.get(insert.dxf.name)
        says = dict(t.dxf.text.split(": ", 1) for t in block.query("TEXT"))
        piece, person = says["Piece Name"], says["Size"]
        met.append((person, piece))
        places[piece].add((*(round(v, 6) for v in insert.dxf.insert), round(insert.dxf.rotation, 6)))
        outlines = [[v.dxf.location.vec2 for v in e.vertices] for e in block.query("POLYLINE") if e.dxf.layer == "1"]
        cut_line = want.get(person, {}).get(piece)
        if len(outlines) != 1 or cut_line is None:
            wrong.append(f"{person}, {piece}: {len(outlines)} boundaries")
            continue
        off = apart(np.array(outlines[0] + outlines[0][:1]), cut_line[0])
        if off > WITHIN:
            wrong.append(f"{person}, {piece}: the boundary is {off:.3f} mm off")
    if sorted(met) != sorted((person, piece) for person in want for piece in want[person]):
        wrong.append(f"{len(met)} blocks: not each piece of everybody once")
    wrong += [f"{piece}: its sizes lie in {len(some)} places" for piece, some in places.items() if len(some) > 1]
    return wrong


def check_types(text, count):
    """A plain DXF: layers and line types of the sizes."""
    doc, wrong = opened(text)
    if doc is None:
        return wrong
    patterns = set()
    for number in range(1, count + 1):
        name = f"cut-{number}"
        if name not in doc.layers:
            wrong.append(f"no layer {name}")
            continue
        line_type = doc.linetypes.get(doc.layers.get(name).dxf.linetype)
        patterns.add(tuple(tag.value for tag in line_type.pattern_tags.tags if tag.code == 49))
        drawn = [e for e in doc.modelspace() if e.dxf.layer == name]
        if len(drawn) != 7:
            wrong.append(f"{len(drawn)} cut lines on {name}")
        if number > 1 and not all(e.dxf.flags & 128 for e in drawn):
            wrong.append(f"{name}: dashes start anew at every vertex")
    if len(patterns) != count:
        wrong.append(f"{len(patterns)} line types for {count} sizes")
    return wrong


def check_pdf(data, count):
    wrong = []
    with pikepdf.open(io.BytesIO(data)) as pdf:
        names = {str(group.Name) for group in pdf.Root.OCProperties.OCGs}
        content = "".join(page.Contents.read_bytes().decode() for page in pdf.pages)
    if not {f"cut-{number}" for number in range(1, count + 1)} <= names:
        wrong.append(f"layers {sorted(names)}")
    dashes = dict(re.findall(r"/OC /cut-(\d+) BDC\n\S+ w \[([^]]*)\] 0 d", content))
    if len(dashes) != count or len(set(dashes.values())) != count:
        wrong.append(f"line types {dashes}")
    return wrong


def swap(one, two):
    return lambda text: text.replace(one, "\0").replace(two, one).replace("\0", two)


def main(out_dir):
    count = Count("nested sizes")
    want, folder = people(out_dir), Path(out_dir) / "nested"
    chance = ROOT / "target" / "tmp" / "jobs" / "nested"
    j = correction(ROOT / "samples" / "wardrobe-plotter.device.kdl")
    persons = list(want)
    size = lambda person: f"Size: {person}\n"
    listed = [
        (folder / "wardrobe-plotter.svg", lambda text: check_svg(text, want, j), {
            "two sizes change places": swap('"cut-1"', '"cut-2"'),
            "two names change places": swap(f"cut, {persons[0]}", f"cut, {persons[1]}"),
            "two sizes of one line type": lambda text: re.sub(r'(id="cut-3"[^>]*stroke-dasharray=")[^"]*', r"\g<1>12 3", re.sub(r'(id="cut-2"[^>]*stroke-dasharray=")[^"]*', r"\g<1>12 3", text)),
            "a corner moved by a millimetre each way": lambda text: re.sub(
                r'(id="cut-2".*?d="M)(\d+)(\S* )(\d+)', lambda m: f"{m[1]}{int(m[2]) + 1}{m[3]}{int(m[4]) + 1}", text, count=1, flags=re.S
            ),
            "a cut line less": lambda text: re.sub(r'(id="cut-2".*?)<path[^>]*/>', r"\1", text, count=1, flags=re.S),
        }),
        (folder / "interchange.dxf", lambda text: check_blocks(text, want), {
            "two sizes change places": swap(size(persons[0]), size(persons[1])),
            "a size beside the others": lambda text: re.sub(r"(INSERT\n.*?\n 50\n)", r"\g<1>1", text, count=1, flags=re.S),
            "a block less": lambda text: re.sub(r"  0\nINSERT\n.*?(?=  0\n)", "", text, count=1, flags=re.S),
        }),
        (chance / "chords.dxf", lambda text: check_types(text, 3), {
            "two sizes of one line type": lambda text: text.replace("\n  6\nsize-3\n", "\n  6\nsize-2\n"),
            "a layer of another name": lambda text: text.replace("\n  2\ncut-2\n", "\n  2\ncut-9\n"),
        }),
        (folder / "roll-inkjet.pdf", lambda text: check_pdf(text.encode("latin-1"), len(want)), {
            "two sizes of one line type": lambda text: re.sub(r"(cut-2 BDC\n\S+ w )\[[^]]*\]", r"\1[]", text),
        }),
    ]
    for path, check, faults in listed:
        if not path.is_file():
            count.good(False, f"{path}: is not there")
            continue
        text = path.read_bytes().decode("latin-1" if path.suffix == ".pdf" else "utf-8")
        wrong = check(text)
        count.good(not wrong, f"{path}: {'; '.join(wrong)}")
        for fault, spoil in faults.items():
            spoilt = spoil(text)
            count.good(spoilt != text and check(spoilt), f"{path}: the seeded fault was not found: {fault}")
    return count.done()


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
