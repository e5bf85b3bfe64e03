"""RS-274 programs carried out by pygcode, a parser that shares nothing with this project: every line where the job has
it, in millimetres, with a feed, the tool on while it draws and off while it travels. And one that `oaktag make` wrote for
a laser: what its beam leaves, half a kerf inside of where it runs, is the pieces.

    python rs274.py OUT_DIR

Every file is also spoiled on purpose, and every fault must be found.
"""

import json
import math
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import shapely
import shapely.affinity
import svgpathtools
from jobs import ROOT, Count, allowed, checked, compare, length, on_axes
from pygcode import GCodeArcMove, GCodeLinearMove, GCodeRapidMove, Line, Machine
from pygcode.gcodes import GCodeArcMoveCW, GCodeFeedRate, GCodeSelectTool, GCodeStartSpindleCW, GCodeStopSpindle, GCodeUseMillimeters

FINE = 1e-3  # mm between an arc and its chords


def arc(start, end, centre, clockwise):
    """Points of an arc, its start excepted."""
    radius = math.dist(start, centre)
    if abs(math.dist(end, centre) - radius) > 0.002:  # NIST IR 6556, 3.5.3.2
        raise ValueError(f"an arc's ends are {radius} and {math.dist(end, centre)} mm from its centre")
    angle = lambda p: math.atan2(p[1] - centre[1], p[0] - centre[0])
    turn = (angle(end) - angle(start)) % math.tau or math.tau
    turn -= math.tau if clockwise else 0
    steps = max(1, math.ceil(abs(turn) / (2 * math.acos(max(0.0, 1 - FINE / radius)))))
    at = (angle(start) + turn * i / steps for i in range(1, steps))
    return [(centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in at] + [end]


def lines(text):
    """What a program draws: tool number and points of each line."""
    machine, at, on, tool, feed, metric, height = Machine(), (0.0, 0.0), False, 0, False, False, 0.0
    machine.mode.set_mode(GCodeUseMillimeters())
    drawn, chain = [], []
    for line in text.splitlines():
        block = Line(line).block
        for code in sorted(block.gcodes):
            where = code.get_param_dict() if hasattr(code, "get_param_dict") else {}
            if isinstance(code, GCodeUseMillimeters):
                metric = True
            elif isinstance(code, GCodeFeedRate):
                feed = code.word.value > 0
            elif isinstance(code, GCodeSelectTool):
                tool = int(code.word.value)
            elif isinstance(code, GCodeStartSpindleCW):
                on, chain = True, [at]
            elif isinstance(code, GCodeStopSpindle):
                if chain:
                    drawn.append((f"tool {tool}", chain if len(chain) > 1 else chain * 2))
                on, chain = False, []
            elif isinstance(code, (GCodeRapidMove, GCodeLinearMove, GCodeArcMove)):
                if "Z" in where:  # a tool that is lowered into its work and lifted out of it
                    height = where["Z"]
                    if height < 0:
                        on, chain = True, [at]
                    elif on:
                        drawn.append((f"tool {tool}", chain if len(chain) > 1 else chain * 2))
                        on, chain = False, []
                    continue
                end = (where.get("X", at[0]), where.get("Y", at[1]))
                if isinstance(code, GCodeRapidMove) == on:
                    raise ValueError(f"{line}: the tool is {'on' if on else 'off'}")
                if on and not (feed and metric):
                    raise ValueError(f"{line}: no feed, or no unit")
                if isinstance(code, GCodeArcMove):
                    centre = (at[0] + where["I"], at[1] + where["J"])
                    chain += arc(at, end, centre, isinstance(code, GCodeArcMoveCW))
                elif on:
                    chain.append(end)
                at = end
            else:
                machine.process_gcodes(code)
    if on:
        raise ValueError("the tool is on at the end")
    return drawn


def check(data, job):
    try:
        found = lines(data.decode("ascii"))
    except Exception as error:  # whatever is raised, the file is at fault
        return [f"can't be carried out: {error!r}"]
    wanted = [(f"tool {stroke['tool']}", on_axes(job, stroke["points"])) for stroke in job["strokes"]]
    return compare(found, wanted, allowed(job))


def sub(pattern, by, count=1):
    return lambda data: re.sub(pattern, by, data, count=count, flags=re.M)


FAULTS = {
    "inches": sub(rb"G21", b"G20"),
    "an arc the other way": lambda data: re.sub(rb"^G3 ", b"G2 ", data, count=1, flags=re.M) if b"\nG3 " in data else None,
    "never off": sub(rb"^M5\n(?=G0)", b""),
    "a line less": sub(rb"^G1 X.*\n", b""),
    "moved by 0.1 mm": sub(rb"^(G[01] X)(-?[\d.]+)", lambda m: m[1] + b"%.4f" % (float(m[2]) + 0.1), 0),
    "mirrored": sub(rb"([XI])(-?)", lambda m: m[1] + (b"" if m[2] else b"-"), 0),
    "no feed": sub(rb"^F.*\n", b"", 0),
    "another tool": sub(rb"^T2$", b"T1"),
}


KERF = 0.2  # mm, of profiles/laser.device.kdl
BRIDGE = 0.6  # mm, the same
CUTTING = 2  # the tool's number
HOLE = 400  # mm²: blocks have a hole to hang them by
SAME = 0.02  # mm: the profile's tolerance of 0.01 and its proof's 0.005


def contours(drawn):
    """Chains of the cutting beam that meet but for a bridge, as rings."""
    chains = [np.array(chain) for tool, chain in drawn if tool == f"tool {CUTTING}"]
    rings = []
    while chains:
        ring = chains.pop(0)
        while True:
            ends = [(np.hypot(*(ring[-1] - chain[side])), at, side) for at, chain in enumerate(chains) for side in (0, -1)]
            gap, at, side = min(ends, default=(math.inf, 0, 0))
            if gap > BRIDGE + KERF + 0.1 or np.hypot(*(ring[-1] - ring[0])) < gap:
                break
            ring = np.vstack([ring, chains.pop(at)[:: 1 if side == 0 else -1]])
        if len(ring) > 3 and np.hypot(*(ring[-1] - ring[0])) <= BRIDGE + KERF + 0.1:
            rings.append(shapely.Polygon(ring))
    return [ring for ring in rings if ring.area > HOLE]


def off_piece(left, piece):
    """How far what is left lies from a piece wherever it was put and turned: the largest distance of the places along it,
    notches and their neighbourhood apart, mm."""
    best = math.inf
    for quarter in range(4):
        turned = shapely.affinity.rotate(piece, 90 * quarter, origin=(0, 0))
        a, b = np.array(left.bounds), np.array(turned.bounds)
        if np.abs((a[2:] - a[:2]) - (b[2:] - b[:2])).max() > 1:
            continue
        line = shapely.affinity.translate(turned, *(a[:2] - b[:2])).exterior
        points = shapely.get_coordinates(shapely.segmentize(left.exterior, 2))
        points = points[:: max(1, len(points) // 250)]
        for _ in range(6):
            # The shift that brings the points nearest to the line, by least squares.
            near = shapely.get_coordinates(shapely.line_interpolate_point(line, shapely.line_locate_point(line, shapely.points(points))))
            gaps = np.hypot(*(points - near).T)
            shift = np.median((points - near)[gaps <= max(np.quantile(gaps, 0.9), 1e-9)], 0)
            line = shapely.affinity.translate(line, *shift)
        gaps = shapely.distance(shapely.points(points), line)
        best = min(best, np.quantile(gaps, 0.9))
    return best


def laser(count):
    """A laser's programs as `make` wrote them."""
    program, style = ROOT / "target" / "release" / "oaktag", "samples/evening-chorus.style.kdl"
    person = "samples/maren-holt.measures.kdl"
    with tempfile.TemporaryDirectory() as folder:
        command = [program, "make", style, "--measures", person, "--device", "laser", "-o", folder]
        made = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
        if made.returncode != 0:
            return count.good(False, f"laser: {made.stderr}")
        [pieces] = Path(folder).rglob("*.pieces.json")
        sewn = {}
        for piece in json.loads(pieces.read_text("utf-8"))["pieces"]:
            path = svgpathtools.Path(*[segment for edge in piece["edges"] for segment in svgpathtools.parse_path(edge["path"])])
            steps = [1 if isinstance(segment, svgpathtools.Line) else 200 for segment in path]
            ring = [segment.point(i / n) for segment, n in zip(path, steps) for i in range(n)]
            sewn[piece["name"]] = shapely.Polygon([(z.real, z.imag) for z in ring])
        programs = [file.read_text("ascii") for file in sorted(Path(folder).rglob("laser*.ngc"))]
    drawn = [lines(text) for text in programs]
    rings = [ring for chains in drawn for ring in contours(chains)]
    left = [ring.buffer(-KERF / 2) for ring in rings]
    count.good(len(left) == len(sewn), f"laser: {len(left)} contours of {len(sewn)} pieces")
    for name, piece in sewn.items():
        off = min((off_piece(ring, piece) for ring in left), default=math.inf)
        count.good(off <= SAME, f"laser: {name} is {off:.3f} mm off")
    # Seeded faults; the front is no mirror image of itself.
    for fault, spoilt in {
        "no kerf": rings,
        "a tenth of a per cent": [shapely.affinity.scale(ring, 1.001, 1.001) for ring in left],
        "mirrored": [shapely.affinity.scale(ring, -1, 1) for ring in left],
    }.items():
        off = min(off_piece(ring, sewn["Front"]) for ring in spoilt)
        count.good(off > SAME, f"laser: the seeded fault was not found: {fault}")
    longest = max((chain for chain in drawn[0] if chain[0] == f"tool {CUTTING}"), key=lambda chain: length(chain[1]))
    shorter = [chain for chain in drawn[0] if chain is not longest]
    count.good(len(contours(shorter)) < len(contours(drawn[0])), "laser: the seeded fault was not found: a run less")


def main(out_dir):
    code = checked("RS-274 programs", out_dir, ("rs274",), check, FAULTS)
    count = Count("a laser's programs")
    laser(count)
    return count.done() or code


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
