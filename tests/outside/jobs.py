"""What the outside checks of written files share: files with the jobs that they were made from, and the comparing.

`tests/formats_jobs.rs` writes a job as FILE.job.json beside FILE, or for a file of the samples. A job holds its strokes
as chains of points on the sheet, mm, y up, before the machine's correction: measured = J · commanded with
J = [[x, skew], [0, y]], so the file must hold them through J's inverse.
"""

import json
from pathlib import Path

import numpy as np
import shapely

ROOT = Path(__file__).resolve().parent.parent.parent
JOBS = ROOT / "target" / "tmp" / "jobs"
PERSON = "maren-holt"  # of the samples, whose jobs are recorded
WITHIN = 0.01  # mm, beside what the language itself rounds away
WAYS = {"right": (1, 0), "left": (-1, 0), "up": (0, 1), "down": (0, -1)}


def files(out_dir, languages):
    """Name, bytes and job of every file in one of these languages."""
    found = []
    for path in sorted(JOBS.rglob("*.job.json")):
        job = json.loads(path.read_text("utf-8"))
        if job["language"] in languages:
            name = path.name.removesuffix(".job.json")
            file = Path(out_dir) / PERSON / name if path.parent.name == "samples" else path.with_name(name)
            found.append((name, file.read_bytes() if file.is_file() else None, job))
    return found


def corrected(job, points):
    """Points of the sheet as the file holds them, y up from the sheet's corner: J⁻¹ · p."""
    points = np.asarray(points, float)
    y = points[:, 1] / job["y"]
    return np.column_stack([(points[:, 0] - job["skew"] * y) / job["x"], y])


def on_axes(job, points):
    """Points of the sheet as a machine with axes of its own counts them: corrected about its own zero."""
    width, height = job["width"], job["height"]
    zeros = {"lower-left": (0, 0), "lower-right": (width, 0), "upper-left": (0, height), "upper-right": (width, height)}
    zero = zeros.get(job["axes"]["origin"], (width / 2, height / 2))
    off = corrected(job, np.asarray(points, float) - zero)
    return np.column_stack([off @ WAYS[job["axes"]["x"]], off @ WAYS[job["axes"]["y"]]])


def allowed(job):
    """What a language without curves may stray, and half of its grid's diagonal."""
    chords = job["tolerance"] if job["language"] not in ("svg", "dxf", "pdf") else 0
    return WITHIN + chords + 0.5**0.5 / job["units_per_mm"]


def stray(points, chain):
    """The largest distance of points from a chain, mm."""
    points, chain = np.asarray(points, float).reshape(-1, 2), np.asarray(chain, float)
    line = shapely.LineString(np.repeat(chain, 2, axis=0) if len(chain) == 1 else chain)
    return float(shapely.distance(line, shapely.points(points)).max(initial=0))


def length(chain):
    return np.sqrt((np.diff(np.asarray(chain, float), axis=0) ** 2).sum(1)).sum()


def compare(found, wanted, limit, both=True):
    """What is wrong with a file. `found` and `wanted` are lists of layer and chain; each wanted one has one partner on
    its layer, all along within `limit`. Without `both` the found points need only lie on the wanted chain and be as
    long: for readers that sample."""
    boxes = lambda chains: np.array([np.concatenate([np.min(c, 0), np.max(c, 0)]) for _, c in chains]).reshape(-1, 4)
    if len(found) != len(wanted):
        return [f"{len(found)} lines, not {len(wanted)}"]
    have, free, wrong = boxes(found), np.ones(len(found), bool), []
    slack = limit if both else 3.0  # corners fall between samples
    for (layer, chain), box in zip(wanted, boxes(wanted)):
        near = np.flatnonzero(free & (np.abs(have - box).max(1) <= slack))
        best = np.inf
        for i in near[np.argsort(np.abs(have[near] - box).max(1))][:24]:
            if found[i][0] != layer:
                continue
            apart = stray(found[i][1], chain)
            if both and apart <= limit:
                apart = max(apart, stray(chain, found[i][1]))
            if apart < best:
                best, partner = apart, i
            if best <= limit / 10:
                break
        if best > limit:
            middle = (box[:2] + box[2:]) / 2
            wrong.append(f"a line on {layer} at {middle.round(1)} is not there, or {best:.4f} mm off")
        else:
            free[partner] = False
        if len(wrong) > 3:
            break
    return wrong


class Count:
    """Passed and failed, with what was wrong."""

    def __init__(self, what):
        self.what, self.passed, self.failed = what, 0, 0

    def good(self, good, words):
        self.passed, self.failed = self.passed + bool(good), self.failed + (not good)
        if not good:
            print(f"FAILED {words}")

    def done(self):
        print(f"{self.what}: {self.passed} passed, {self.failed} failed")
        return 0 if self.failed == 0 and self.passed > 0 else 1


def checked(what, out_dir, languages, check, faults):
    """Runs `check(bytes, job)`, which lists what is wrong, on every file, and on those of seeded chance spoilt by every
    fault, which are functions of bytes that give None where they do not apply."""
    count = Count(what)
    listed = files(out_dir, languages)
    for name, data, job in listed:
        if data is None:
            count.good(False, f"{name}: the samples do not have it")
            continue
        wrong = check(data, job)
        count.good(not wrong, f"{name}: {'; '.join(wrong)}")
        for fault, spoil in faults.items():
            spoilt = spoil(data) if name.startswith("plain-") else None
            if spoilt is not None:
                count.good(spoilt != data and check(spoilt, job), f"{name}: the seeded fault was not found: {fault}")
    return count.done()
