"""RS-274 programs carried out by pygcode, a parser that shares nothing with this project: every line where the job has
it, in millimetres, with a feed, the tool on while it draws and off while it travels.

    python rs274.py OUT_DIR

Every file is also spoiled on purpose, and every fault must be found.
"""

import math
import re
import sys

from jobs import allowed, checked, compare, on_axes
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


def main(out_dir):
    return checked("RS-274 programs", out_dir, ("rs274",), check, FAULTS)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
