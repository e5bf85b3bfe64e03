"""The project's own pieces for one, eight and forty invented people, laid by `oaktag lay` and by the library spyrrow (PyPI,
pinned in requirements.txt beside this file) one after the other, for densities side by side:

    cargo build --release && python benches/peer/people.py --people 1 8 40 --seconds 20 --seed 1

The people's girths are spread evenly over the classes of EN 13402-3, bust 76 to 128 cm, the rest estimated. The cloth is
150 cm wide with half an inch of selvedge on either side, single, without nap; every piece may lie either way up, 3 mm from
the next. Spyrrow gets the outlines that `oaktag lay` laid, flattened to 0.1 mm. Prints people, pieces, and for either
density and seconds; `oaktag lay` uses two threads."""

import argparse
import json
import re
import subprocess
import tempfile
import time
from pathlib import Path

import spyrrow

ROOT = Path(__file__).resolve().parent.parent.parent
WIDTH = 1500.0
STRIP = WIDTH - 2 * 12.7  # between the selvedges of a plain cloth, mm
GAP = 3.0  # between pieces, mm: that of a plain cloth


def sizes(count):
    """A table of sizes, one for each person."""
    lines = []
    for person in range(count):
        step = person / max(count - 1, 1) if count > 1 else 0.3
        bust = 76 + 52 * step
        lines.append(f'    size "chorus {person + 1}" {{ "bust girth" {bust:.1f}; "waist girth" {bust - 16:.1f}; "hip girth" {bust + 8 - 4 * step:.1f}; }}')
    return 'sizes "Chorus" {\n    unit "cm"\n' + "\n".join(lines) + "\n}\n"


def corners(path):
    """The corners of an outline of lines and cubics, each cubic as 24 chords."""
    points, numbers = [], None
    for command, text in re.findall(r"([MLCZ])([^MLCZ]*)", path):
        numbers = [float(number) for number in re.findall(r"-?[\d.]+(?:e-?\d+)?", text)]
        pairs = list(zip(numbers[::2], numbers[1::2]))
        if command == "C":
            for a, b, c in zip(pairs[::3], pairs[1::3], pairs[2::3]):
                start = points[-1]
                for step in range(1, 25):
                    t = step / 24
                    weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3)
                    points.append(tuple(sum(w * p[i] for w, p in zip(weights, (start, a, b, c))) for i in (0, 1)))
        else:
            points += pairs
    kept = [points[0]]
    for point in points[1:]:
        if max(abs(point[0] - kept[-1][0]), abs(point[1] - kept[-1][1])) > 0.05:
            kept.append(point)
    return kept


def area(points):
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, points[1:] + points[:1]))) / 2


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--people", type=int, nargs="+", default=[1, 8, 40])
    parser.add_argument("--seconds", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    for count in args.people:
        with tempfile.TemporaryDirectory() as folder:
            table = Path(folder) / "chorus.sizes.kdl"
            table.write_text(sizes(count), "utf-8")
            lay = [ROOT / "target/release/oaktag", "lay", "samples/evening-chorus.style.kdl", "--measures", table, "--estimate", "--anyway"]
            lay += ["--width", f"{WIDTH} mm", "--seconds", str(args.seconds), "--seed", str(args.seed), "-o", folder]
            began = time.time()
            subprocess.run(lay, cwd=ROOT, capture_output=True, check=True)
            ours = time.time() - began
            text = next(Path(folder).glob("*.lay.kdl")).read_text("utf-8")
        length = float(re.search(r"^\s*length ([\d.]+)", text, re.M)[1])
        shapes = [corners(outline) for outline in re.findall(r'outline "([^"]*)"', text)]
        covered = sum(map(area, shapes))
        items = [spyrrow.Item(str(index), shape, 1, [0.0, 180.0]) for index, shape in enumerate(shapes)]
        config = spyrrow.StripPackingConfig(early_termination=False, total_computation_time=args.seconds, num_workers=2, seed=args.seed,
                                            min_items_separation=GAP)
        began = time.time()
        solution = spyrrow.StripPackingInstance("people", STRIP, items).solve(config)
        peer = time.time() - began
        row = {"people": count, "pieces": len(shapes), "ours %": 100 * covered / STRIP / length, "s": ours}
        row |= {"peer %": 100 * covered / STRIP / solution.width, "peer s": peer}
        print(json.dumps({key: round(value, 2) for key, value in row.items()}), flush=True)


if __name__ == "__main__":
    main()
