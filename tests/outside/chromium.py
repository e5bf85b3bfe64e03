"""SVG files as a browser sees them: Chromium (Debian) lays each out in CSS millimetres and says where points along every
path lie on the screen. Each lies on its line of the job to 0.01 mm, and each path is as long as its line.

    python chromium.py OUT_DIR

Every file is also spoiled on purpose, and every fault must be found.
"""

import base64
import html
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from jobs import Count, ROOT, WITHIN, compare, corrected, files, length

FLAGS = """--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking
--disable-component-update --disable-sync --hide-scrollbars --virtual-time-budget=100000 --dump-dom""".split()
INCH = 96  # CSS pixels (CSS 2.1, 4.3.2)

# For each file: where its page lies, and every path's layer, length in user units and points on the screen.
SCRIPT = """
const out = FILES.map(text => {
  const xml = new TextDecoder().decode(Uint8Array.from(atob(text), c => c.charCodeAt(0)));
  const svg = new DOMParser().parseFromString(xml, "image/svg+xml").documentElement;
  if (svg.nodeName !== "svg") return null;
  const host = document.getElementById("host");
  host.replaceChildren(document.adoptNode(svg));
  const page = svg.getBoundingClientRect();
  const paths = [...svg.querySelectorAll("path")].map(path => {
    const long = path.getTotalLength(), steps = Math.min(2000, Math.max(8, Math.ceil(long / 3)));
    const matrix = path.getScreenCTM(), style = getComputedStyle(path);
    const points = [];
    for (let i = 0; i <= steps; i++) {
      const p = path.getPointAtLength(long * i / steps).matrixTransform(matrix);
      points.push([p.x - page.left, page.bottom - p.y]);
    }
    const group = path.closest("g[id]"), shown = getComputedStyle(group).display !== "none";
    const drawn = style.stroke !== "none" && style.fill === "none" && shown;
    return [drawn ? group.id : "not drawn", long * Math.hypot(matrix.a, matrix.b), points];
  });
  return [page.width, page.height, paths];
});
document.getElementById("out").textContent = JSON.stringify(out);
"""


def chromium():
    """The program, also where it was unpacked and not installed."""
    unpacked = ROOT / ".venv/tools/usr/lib/chromium/chromium"
    return str(unpacked) if unpacked.is_file() else shutil.which("chromium")


def seen(program, texts):
    """What the browser makes of each of these files."""
    packed = json.dumps([base64.b64encode(text).decode() for text in texts])
    page = f'<!DOCTYPE html><meta charset="utf-8"><div id="host" style="position:absolute;left:0;top:0"></div>'
    page += f'<pre id="out"></pre><script>const FILES = {packed};{SCRIPT}</script>'
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "page.html").write_text(page, "utf-8")
        command = [program, *FLAGS, f"--user-data-dir={folder}/profile", (Path(folder) / "page.html").as_uri()]
        dumped = subprocess.run(command, capture_output=True, text=True, env=os.environ | {"HOME": folder}).stdout
    found = re.search(r'<pre id="out">(.*?)</pre>', dumped, re.S)
    if not found or not found[1]:
        raise RuntimeError(f"the browser said nothing: {dumped[:300]}")
    return json.loads(html.unescape(found[1]))


def check(view, job):
    """What is wrong with a file, as the browser sees it."""
    if view is None:
        return ["the browser can't read it"]
    width, height, paths = view
    mm = job["pixel"] or 25.4 / INCH
    corners = corrected(job, [(job["width"], 0), (job["width"], job["height"]), (0, job["height"])])
    page = np.max(corners, 0)
    wrong = []
    if np.any(np.array([width, height]) * mm < page - WITHIN) or np.any(np.array([width, height]) * mm > page + 60):
        wrong.append(f"the page is {width * mm:.3f} x {height * mm:.3f} mm, not {page.round(3)}")
    role = lambda name: re.sub(r"-\d+$", "", name)
    found = [(role(layer), np.array(points) * mm) for layer, _, points in paths]
    wanted = [(stroke["role"], corrected(job, stroke["points"])) for stroke in job["strokes"]]
    wrong += compare(found, wanted, WITHIN, both=False)
    # What was sampled says nothing of what lies between: so each path is also as long as its line.
    long = lambda pairs: sorted(pairs, key=lambda pair: (pair[0], pair[1]))
    ours = long((layer, length(chain)) for layer, chain in wanted)
    theirs = long((role(layer), length * mm) for layer, length, _ in paths)
    off = [abs(a[1] - b[1]) for a, b in zip(ours, theirs) if abs(a[1] - b[1]) > 0.02 + 0.002 * a[1]]
    return wrong + ([f"{len(off)} paths are up to {max(off):.3f} mm longer or shorter"] if off else [])


def sub(pattern, by, count=1):
    return lambda data: re.sub(pattern, by, data, count=count)


FAULTS = {
    "pixels for millimetres": sub(rb'((?:width|height)="[\d.]+)mm"', rb'\1px"', 2),
    "a tenth of a per cent": lambda data: data.replace(b"<g ", b'<g transform="scale(1.001)" '),
    "a path less": sub(rb"<path [^>]*/>\n", b""),
    "a moved point": sub(rb"(C[\d.-]+ )([\d.-]+)", lambda m: m[1] + b"%.3f" % (float(m[2]) + 0.5)),
    "hidden": sub(rb"<g ", b'<g style="display:none" '),
    "filled": lambda data: data.replace(b'fill="none"', b'fill="#111111"'),
    "a corner cut off": sub(rb"L[\d.-]+ [\d.-]+(L)", rb"\1"),
    "half the file": lambda data: data[: len(data) // 2],
}


def main(out_dir):
    program = chromium()
    if program is None:
        print("SVG in a browser: not run: chromium is absent, its Debian package is chromium")
        return 1
    count, cases = Count("SVG in a browser"), []
    for name, data, job in files(out_dir, ("svg",)):
        if data is None:
            count.good(False, f"{name}: the samples do not have it")
            continue
        cases.append((name, None, data, job))
        if name.startswith("plain-"):
            cases += [(name, fault, spoil(data), job) for fault, spoil in FAULTS.items()]
    for (name, fault, data, job), view in zip(cases, seen(program, [data for _, _, data, _ in cases])):
        wrong = check(view, job)
        if fault:
            count.good(wrong, f"{name}: the seeded fault was not found: {fault}")
        else:
            count.good(not wrong, f"{name}: {'; '.join(wrong)}")
    return count.done()


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
