"""What the checks of SVG and of DXF files share: what a file should hold, and the counting.

Expected values are a JSON object of file name to
    square    nominal side of the check square, mm, or a list of sides of which one is drawn
    x y skew  the machine's own J = [[x, skew], [0, y]]; the file must hold the square through J's inverse
    strokes   how many paths or entities it draws (optional)
    page      SVG: width and height of the page, mm (optional)
    beziers   the file's cubics, four points each, mm, y up: for SVG of every path in order, lines raised to cubics, for
              DXF of every spline in order (optional)
"""

import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
WITHIN = 0.01  # mm
SIDES = [100, 50]  # of the check square on a lay


def sides(corners):
    return [math.dist(corners[i], corners[(i + 1) % 4]) for i in range(4)]


def wrong_square(squares, want):
    """Nothing where one of the squares has the expected sides through the inverse of J, else what is wrong."""
    nominal = want["square"] if isinstance(want["square"], list) else [want["square"]]
    x, y, skew = want["x"], want["y"], want["skew"]
    through = lambda u, v: ((u - skew * v / y) / x, v / y)
    targets = [sorted(sides([through(u, v) for u, v in [(0, 0), (s, 0), (s, s), (0, s)]])) for s in nominal]
    fits = lambda c, target: all(abs(a - b) <= WITHIN for a, b in zip(sorted(sides(c)), target))
    if any(fits(c, target) for c in squares for target in targets):
        return []
    rounded = lambda lists: [[round(side, 3) for side in four] for four in lists]
    return [f"check square: sides {rounded(map(sides, squares))}, expected {rounded(targets)}"]


def correction(profile):
    """The numbers of a profile's last correction."""
    found = re.findall(r"^\s*correction .*$", profile.read_text("utf-8"), re.M)
    number = lambda name: float(re.search(rf"\b{name}=(\S+)", found[-1])[1])
    return {name: number(name) for name in ("x", "y", "skew")} if found else {"x": 1, "y": 1, "skew": 0}


def files(out_dir, expected, suffix):
    """Each file with what it should hold: those of EXPECTED, or those that `cargo test` left and the samples."""
    own = ROOT / "target" / "tmp" / "formats"
    listed = [(Path(out_dir), Path(expected))] if expected else [(own, own / "expected.json")]
    found = [
        (folder / name, want)
        for folder, values in listed
        for name, want in sorted(json.loads(values.read_text("utf-8")).items())
        if name.endswith(suffix)
    ]
    if not expected:
        for path in sorted(Path(out_dir).rglob(f"*{suffix}")):
            name = re.sub(r"-\d+$", "", path.stem).removeprefix("quarter-scale-") + ".device.kdl"
            profile = next(at / name for at in (ROOT / "samples", ROOT / "profiles") if (at / name).exists())
            # A projector's file is in pixels as large as they were measured: chromium.py sees to it. Files for other
            # programs of the trade: interchange.py.
            if not re.search(r"^\s*pixel | after=", profile.read_text("utf-8"), re.M):
                found.append((path, {"square": SIDES, **correction(profile)}))
    return found


def counted(what, out_dir, expected, check, faults, needs):
    """Checks every file and every fault seeded into it; prints the counts and gives the exit code."""
    suffix = f".{what.lower()}"
    passed = failed = 0

    def count(good, words):
        nonlocal passed, failed
        passed, failed = passed + bool(good), failed + (not good)
        if not good:
            print(f"FAILED {words}")

    for path, want in files(out_dir, expected, suffix):
        text = path.read_bytes().decode("utf-8")
        wrong = check(text, want)
        count(not wrong, f"{path}: {'; '.join(wrong)}")
        for fault, spoil in faults.items():
            if fault not in needs or want.get(needs[fault]):
                spoilt = spoil(text)
                count(spoilt != text and check(spoilt, want), f"{path}: the seeded fault was not found: {fault}")
    if not expected:
        # The other way round: files of another program's making, read by this one.
        test = f"other_programs_{what.lower()}_files_are_read"
        run = subprocess.run(
            ["cargo", "test", "--release", "--quiet", "--test", "formats_outside", "--", "--ignored", test],
            cwd=ROOT,
            env=os.environ | {"OAKTAG_PYTHON": sys.executable},
            capture_output=True,
            text=True,
        )
        count(run.returncode == 0 and "1 passed" in run.stdout, f"{test}: {run.stdout}{run.stderr}")
    print(f"{what} files: {passed} passed, {failed} failed")
    return 0 if failed == 0 and passed > 0 else 1
