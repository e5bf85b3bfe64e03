"""HP-GL and HP-GL/2 files carried out by two plotter programs that share nothing with this project: ezdxf's reader, which
keeps the plotter's own coordinates, and hp2xx (Debian), which moves the drawing to zero. Every line where the job has it,
within the plotter's grid, drawn with the right pen.

    python plotters.py OUT_DIR

Neither shows dots, which the project's own reader proves. Every file is also spoiled on purpose, and every fault must be
found.
"""

import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from ezdxf.addons.hpgl2.api import MergeControl, record_plotter_output
from jobs import allowed, checked, compare, length, on_axes

LANGUAGES = ("hpgl", "hpgl2", "hpgl2-encoded")
UNITS = 40  # in a millimetre


def by_ezdxf(data):
    """Pen and points of what ezdxf draws, mm, in working order."""
    # The older dialect is entered as the newer one.
    player = record_plotter_output(data if b"\x1b%" in data else b"\x1b%1B" + data, MergeControl.NONE)
    return [
        (properties.pen_index, np.array([(p.x, p.y) for p in points.vertices()]) / UNITS)
        for _, properties, points in player.recordings()
    ]


def by_hp2xx(data):
    """Points of each side that hp2xx draws, mm, in working order, the lowest x and y at 0. It does not tell the pens."""
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "in.plt", Path(folder) / "out.dxf"
        source.write_bytes(data.replace(b"\x1b%0B;", b"").replace(b"\x1bE", b"").replace(b"\x1b%0A", b""))
        run = subprocess.run(["hp2xx", "-q", "-m", "dxf", "-t", "-N", "-f", target, source], capture_output=True)
        if run.returncode != 0 or not target.is_file():
            raise ValueError(f"hp2xx: {run.stderr.decode(errors='replace')}")
        tags = [line.strip() for line in target.read_text("latin-1").splitlines()]
    drawn, now = [], {}
    for code, value in zip(tags[::2], tags[1::2]):
        if code == "0":
            if now.get("0") == "LINE":
                sides = [(float(now["10"]), float(now["20"])), (float(now["11"]), float(now["21"]))]
                drawn.append((1, np.array(sides)))
            now = {}
        now[code] = value
    return drawn


def joined(pieces, wanted):
    """Pieces of lines in working order put together into the lines of the job: both programs take them apart."""
    chains, left = [], [(pen, points, length(points)) for pen, points in pieces if length(points) > 0]
    left.reverse()
    for _, chain in wanted:
        whole, points, run = length(chain), [], 0.0
        while left:
            pen, some, long = left[-1]
            apart = points and (f"tool {pen}" != name or np.abs(points[-1] - some[0]).max() > 1e-6)
            # As near to the line's length as it gets.
            if apart or (points and abs(run + long - whole) > abs(run - whole)):
                break
            left.pop()
            points += list(some if not points else some[1:])
            name, run = f"tool {pen}", run + long
        if points:
            chains.append((name, np.array(points)))
    return chains + [(f"tool {pen}", points) for pen, points, _ in left]


def check(data, job):
    wanted = [(f"tool {stroke['tool']}", on_axes(job, stroke["points"])) for stroke in job["strokes"]]
    wanted = [(layer, chain) for layer, chain in wanted if length(chain) > 1 / UNITS]
    limit = allowed(job)
    wrong = []
    for program in (by_ezdxf, by_hp2xx):
        try:
            pieces = program(data)
        except Exception as error:  # whatever is raised, the file is at fault
            wrong.append(f"{program.__name__}: {error!r}")
            continue
        if program is by_hp2xx and pieces:
            low = np.min([np.min(points, 0) for _, points in pieces], 0)
            target = np.min([np.min(chain, 0) for _, chain in wanted], 0)
            pieces = [(pen, points - low + target) for pen, points in pieces]
        if program is by_hp2xx:
            wanted = [("tool 1", chain) for _, chain in wanted]
        # To zero by the nearest line of the grid.
        slack = limit + (0.5 / UNITS if program is by_hp2xx else 0)
        chains = [(layer, chain) for layer, chain in joined(pieces, wanted) if length(chain) > 1.5 / UNITS]
        wrong += [f"{program.__name__}: {what}" for what in compare(chains, wanted, slack)]
    return wrong


def shifted(data):
    """Everything but the check square, 0.1 mm to the right."""
    at = data.find(b"PU;\n", data.find(b"PU;SP2"))
    return re.sub(rb"(P[UD])(-?\d+),", lambda m: m[1] + b"%d," % (int(m[2]) + 4), data) if at > 0 else None


FAULTS = {
    "moved by 0.1 mm": lambda data: shifted(data) if b"PE" not in data else None,
    "steps of a tenth": lambda data: re.sub(rb"(?<=[,UD])(-?\d+)", lambda m: b"%d" % (int(m[1]) * 10), data) if b"PE" not in data else None,
    "a line less": lambda data: re.sub(rb"^(PU-?\d|PE7).*\n", b"", data, count=1, flags=re.M),
    "the other pen": lambda data: data.replace(b"SP2;", b"SP1;"),
    "never lifted": lambda data: re.sub(rb"^PU(-?\d+,)", rb"PD\1", data, flags=re.M) if b"PE" not in data else None,
    "base 64": lambda data: data.replace(b"PE7", b"PE") if b"PE7" in data else None,
    "half the file": lambda data: data[: len(data) // 2],
}


def main(out_dir):
    if shutil.which("hp2xx") is None:
        print("HP-GL files: not run: hp2xx is absent, its Debian package is hp2xx")
        return 1
    return checked("HP-GL files", out_dir, LANGUAGES, check, FAULTS)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
