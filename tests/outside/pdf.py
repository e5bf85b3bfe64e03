"""PDF files opened by programs that share nothing with this project: qpdf finds nothing to complain of; pikepdf finds
pages of the right size that no viewer may scale, a layer for every role and each line where the job has it; pdfium's
pictures at true size have a check square that measures right, and pages put together show the same picture as one page.

    python pdf.py OUT_DIR

Every file is also spoiled on purpose, and every fault must be found.
"""

import io
import math
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pikepdf
import pypdfium2
import pypdfium2.raw as pdfium
from jobs import WITHIN, Count, compare, corrected, files

POINT = 72 / 25.4  # in a millimetre
LONGEST = 5080  # mm: 14,400 points (ISO 32000-1, annex C.2)
JOIN = 20  # mm that the parts of a sheet overlap which is too long for one page
PIXELS = 5  # in a millimetre of a whole sheet
FINE = 40  # in a millimetre where the check square is measured: its line is four pixels wide
ROLES = ["cut", "sew", "notch", "grain", "fold", "drill", "line", "dart", "label", "square"]


def complaints(data):
    """What qpdf has to say against a file."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "file.pdf"
        file.write_bytes(data)
        run = subprocess.run(["qpdf", "--check", file], capture_output=True, text=True)
    said = (run.stdout + run.stderr).splitlines()
    return [] if run.returncode == 0 else [f"qpdf: {said[-1] if said else run.returncode}"]


def bezier(a, b, c, d):
    """Points of a cubic, its start excepted."""
    bend = max(np.hypot(*(a - 2 * b + c)), np.hypot(*(b - 2 * c + d)))
    t = np.linspace(0, 1, max(1, math.ceil(math.sqrt(6 * bend / (8 * 1e-3)))) + 1)[1:, None]
    return (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t * t * (1 - t) * c + t**3 * d


def drawn(page):
    """Layer and points of everything that a page strokes, mm, and the part of it that is seen."""
    names = {str(key): str(group.Name) for key, group in page.Resources.Properties.items()}
    matrix, stack, layers, lines, clip, chain, box = np.eye(3), [], [], [], None, [], None
    at = lambda x, y: (matrix @ (float(x), float(y), 1))[:2] / POINT
    for operands, operator in pikepdf.parse_content_stream(page):
        op = str(operator)
        if op == "q":
            stack.append(matrix)
        elif op == "Q":
            matrix = stack.pop()
        elif op == "cm":
            a, b, c, d, e, f = map(float, operands)
            matrix = matrix @ np.array([[a, c, e], [b, d, f], [0, 0, 1]])
        elif op == "BDC":
            layers.append(names[str(operands[1])])
        elif op == "EMC":
            layers.pop()
        elif op == "re":
            x, y, w, h = map(float, operands)
            box = [at(x, y), at(x + w, y + h)]
        elif op == "W":
            clip = box
        elif op == "m":
            chain = [at(*operands)]
        elif op == "l":
            chain.append(at(*operands))
        elif op == "c":
            b, c, d = (at(*operands[i : i + 2]) for i in (0, 2, 4))
            chain += list(bezier(chain[-1], b, c, d))
        elif op == "h":
            chain.append(chain[0])
        elif op == "S":
            lines.append((layers[-1], np.array(chain)))
        elif op not in ("w", "J", "j", "G", "d", "n"):
            raise ValueError(f"the operator {op}")
    return lines, clip


def layout(pdf, job):
    """Size, margins and overlap of the pages, mm; `None` where the sheet is on one page."""
    if job["pages"]:
        return job["pages"]
    if len(pdf.pages) == 1:
        return None
    box = [float(side) / POINT for side in pdf.pages[-1].MediaBox]
    return {"size": box[2:], "margins": [0, 0, 0, 0], "overlap": JOIN}


def labelled(pdf, pages):
    """Each page that is no map, with where its window lies on the sheet, mm."""
    labels = [str(label.P) for label in pdf.Root.PageLabels.Nums[1::2]]
    left, right, bottom, top = pages["margins"]
    step = [pages["size"][0] - left - right - pages["overlap"], pages["size"][1] - bottom - top - pages["overlap"]]
    for index, (label, page) in enumerate(zip(labels, pdf.pages)):
        if label != "map":
            letters, row = re.fullmatch(r"([A-Z]+)(\d+)", label).groups()
            column = 0
            for letter in letters:
                column = 26 * column + ord(letter) - ord("A") + 1
            yield index, page, np.array([(column - 1) * step[0], (int(row) - 1) * step[1]])


def lines_of(pdf, job, wanted):
    """Layer and points of every line of the sheet, once, and what is wrong with the pages. Every page shows each line
    that is wanted on it."""
    pages, wrong = layout(pdf, job), []
    if pages is None:
        return drawn(pdf.pages[0])[0], wrong
    left, right, bottom, top = pages["margins"]
    window = np.array([(left, bottom), (pages["size"][0] - right, pages["size"][1] - top)])
    once = {}
    for _, page, corner in labelled(pdf, pages):
        lines, clip = drawn(page)
        lines = [(layer, chain - window[0] + corner) for layer, chain in lines if layer != "page"]
        if clip is None or np.abs(np.array(clip) - window).max() > WITHIN:
            wrong.append(f"a page shows {clip}, not {window.tolist()}")
        size = window[1] - window[0]
        if not any(np.any(np.all((chain > corner) & (chain < corner + size), 1)) for _, chain in lines):
            # A line may cross a page without a point on it; a page that no line comes near is blank.
            if not any(np.all(chain.max(0) >= corner) and np.all(chain.min(0) <= corner + size) for _, chain in lines):
                wrong.append("a page is blank")
        inside = lambda chain: np.any(np.all((chain > corner + 0.5) & (chain < corner + size - 0.5), 1))
        boxes = np.array([np.concatenate([chain.min(0), chain.max(0)]) for _, chain in lines]).reshape(-1, 4)
        for _, chain in wanted:
            if inside(chain) and not np.any(np.abs(boxes - np.concatenate([chain.min(0), chain.max(0)])).max(1) < 0.02):
                wrong.append("a page lacks a line that runs through it")
                break
        for layer, chain in lines:
            once.setdefault((layer, len(chain), *np.round(np.concatenate([chain[0], chain[-1], chain.mean(0)]), 2)), (layer, chain))
    # Rounding may put one line into two boxes.
    kept = []
    for layer, chain in sorted(once.values(), key=lambda line: (line[0], len(line[1]), tuple(line[1].mean(0)))):
        twin = kept and kept[-1][0] == layer and kept[-1][1].shape == chain.shape
        if not twin or np.abs(kept[-1][1] - chain).max() > 1e-3:
            kept.append((layer, chain))
    return kept, wrong


def form(pdf, job):
    """What is wrong with a file besides its lines."""
    wrong, root = [], pdf.Root
    if str(root.ViewerPreferences.get("/PrintScaling")) != "/None":
        wrong.append("print scaling is not ruled out")
    groups = [str(group.Name) for group in root.OCProperties.OCGs]
    if any(role not in groups for role in ROLES) or "/OFF" in root.OCProperties.D:
        wrong.append(f"layers {groups}")
    corners = corrected(job, [(job["width"], 0), (job["width"], job["height"]), (0, job["height"])]).max(0)
    pages = layout(pdf, job)
    size = corners if pages is None else np.array(pages["size"])
    if pages and not job["pages"]:
        # Parts of a sheet: as long as a page may be, and as many as the sheet takes.
        size, parts = np.minimum(corners, LONGEST), math.ceil((corners[0] - JOIN) / (LONGEST - JOIN))
        if len(pdf.pages) != parts + 1:
            wrong.append(f"{len(pdf.pages)} pages, not a map and {parts} parts of {corners[0]:.0f} mm")
    for page in pdf.pages:
        box = np.array([float(side) for side in page.MediaBox]) / POINT
        if np.any(box[:2] != 0) or np.abs(box[2:] - size).max() > (WITHIN if pages else 60) or box.max() > LONGEST + WITHIN:
            wrong.append(f"a page of {box.round(3)} mm, not {size.round(3)}")
        if any(key in page for key in ("/UserUnit", "/Rotate", "/CropBox")):
            wrong.append("a page is scaled, turned or cropped")
    return wrong


def without_marks(data):
    """The file with the pages' own marks switched off."""
    with pikepdf.open(io.BytesIO(data)) as pdf:
        properties = pdf.Root.OCProperties
        properties.D.OFF = pikepdf.Array([group for group in properties.OCGs if str(group.Name) == "page"])
        stream = io.BytesIO()
        pdf.save(stream)
    return stream.getvalue()


def picture(page, low, high, at, pixels):
    """The part of a page between two corners, mm, in shades of grey, 0 black, row 0 at the bottom; its lower left corner
    lies `at` mm from the picture's. With the pixels of the picture that it begins at."""
    first = np.floor(np.asarray(at) * pixels + 1e-6)
    off = np.asarray(at) * pixels - first
    width, height = (int(side) for side in np.ceil(off + (np.asarray(high) - low) * pixels - 1e-3))
    bitmap = pypdfium2.PdfBitmap.new_native(width, height, pdfium.FPDFBitmap_Gray)
    shades = bitmap.to_numpy()
    shades[...] = 255
    scale = pixels / POINT
    # Rows run down from the page's top.
    right, down = off[0] - low[0] * pixels, height - off[1] + low[1] * pixels - page.get_height() * scale
    matrix, clip = pdfium.FS_MATRIX(scale, 0, 0, scale, right, down), pdfium.FS_RECTF(0, 0, width, height)
    pdfium.FPDF_RenderPageBitmapWithMatrix(bitmap, page, matrix, clip, 0)
    return shades.reshape(height, width)[::-1].copy(), first.astype(int)


def sheet_picture(data, job, low=(0, 0), high=None, pixels=PIXELS):
    """The sheet, or what of it lies between two corners, as its pages show it, put together."""
    rendered = pypdfium2.PdfDocument(without_marks(data))
    with pikepdf.open(io.BytesIO(data)) as pdf:
        pages = layout(pdf, job)
        if pages is None:
            pages = {"size": [side / POINT for side in rendered[0].get_size()], "margins": [0, 0, 0, 0]}
            places = [(0, np.zeros(2))]
        else:
            places = [(index, corner) for index, _, corner in labelled(pdf, pages)]
    left, right, bottom, top = pages["margins"]
    size = np.array(pages["size"]) - (left + right, bottom + top)
    parts = []
    for index, corner in places:
        a, b = np.maximum(corner, low), corner + size if high is None else np.minimum(corner + size, high)
        if np.all(b - a > 0.01):
            on_page = np.array([left, bottom]) - corner
            parts.append(picture(rendered[index], a + on_page, b + on_page, a - low, pixels))
    whole = np.full(np.max([first[::-1] + part.shape for part, first in parts], 0), 255, np.uint8)
    for part, (x, y) in parts:
        shown = whole[y : y + part.shape[0], x : x + part.shape[1]]
        np.minimum(shown, part, out=shown)
    return whole


def off_square(data, job, narrower=0):
    """How far the sides of the check square in a picture are from what the machine needs, mm; also of a picture that
    lacks some of its columns."""
    side = job["square"]
    squares = [np.array(stroke["points"]) for stroke in job["strokes"] if stroke["role"] == "square"]
    box = corrected(job, next(square for square in squares if np.abs(np.ptp(square, 0) - side).max() < 1e-6))
    frame = np.maximum(box.min(0) - 2, 0)
    image = sheet_picture(data, job, frame, box.max(0) + 2, FINE)
    image = np.delete(image, range(700, 700 + narrower), 1)
    low, high = box.min(0) - frame, box.max(0) - frame

    def between(axis):
        a, b = (round((low + (high - low) * share)[1 - axis] * FINE) for share in (0.62, 0.66))
        profile = (255.0 - (image[a:b, :] if axis == 0 else image[:, a:b].T)).mean(0)
        centres = []
        for edge in (low[axis], high[axis]):
            near = np.arange(max(0, round((edge - 1) * FINE)), min(len(profile), round((edge + 1) * FINE)))
            weight = profile[near]
            if weight.sum() < 50:
                return math.inf
            centres.append(((near + 0.5) * weight).sum() / weight.sum() / FINE)
        return centres[1] - centres[0]

    return max(abs(between(axis) - side / job[key]) for axis, key in ((0, "x"), (1, "y")))


def check(data, job):
    """What is wrong with a file's form and lines."""
    wrong = complaints(data)
    try:
        with pikepdf.open(io.BytesIO(data)) as pdf:
            wrong += form(pdf, job)
            wanted = [(stroke["role"], corrected(job, stroke["points"])) for stroke in job["strokes"]]
            lines, pages = lines_of(pdf, job, wanted)
            wrong += pages
        return wrong + compare(lines, wanted, WITHIN)
    except Exception as error:  # whatever is raised, the file is at fault
        return wrong + [f"can't be read: {error!r}"]


def sub(pattern, by, count=1):
    return lambda data: re.sub(pattern, by, data, count=count, flags=re.M)


def moved(data):
    """A page's window on the sheet moved by 0.1 mm; the length of the file stays."""
    return re.sub(rb"^(1 0 0 1 -\d+)(\.\d)?", lambda m: m[1][:-1] + (b"%d" % ((m[1][-1] - 47) % 10)) + (m[2] or b""), data, count=1, flags=re.M)


def with_pages(change):
    """The file with its pages and their names changed; nothing where it has but one."""

    def spoil(data):
        with pikepdf.open(io.BytesIO(data)) as pdf:
            if len(pdf.pages) == 1:
                return None
            names = [str(label.P) for label in pdf.Root.PageLabels.Nums[1::2]]
            if change(pdf, names) is None:
                return None
            numbers = [part for i, name in enumerate(names) for part in (i, pikepdf.Dictionary(P=pikepdf.String(name)))]
            pdf.Root.PageLabels.Nums = pikepdf.Array(numbers)
            stream = io.BytesIO()
            pdf.save(stream)
            return stream.getvalue()

    return spoil


def page_less(pdf, names):
    """A page with lines on it left out, as if it were blank."""
    del pdf.pages[len(names) // 2]
    return names.pop(len(names) // 2)


def blank_page(pdf, names):
    """A page that shows nothing put in where one was left out."""
    places = [re.fullmatch(r"([A-Z])(\d+)", name) for name in names if name != "map"]
    all_places = [f"{c}{r}" for c in sorted({p[1] for p in places}) for r in sorted({p[2] for p in places})]
    free = [name for name in all_places if name not in names]
    if not free:
        return None
    pdf.pages.append(pdf.pages[1])
    window = re.search(rb"^[\d. ]+ re W n$", pdf.pages[-1].Contents.read_bytes(), re.M)[0]
    pdf.pages[-1].Contents = pdf.make_stream(b"q 2.834645669291339 0 0 2.834645669291339 0 0 cm\n" + window + b"\nQ\n")
    names.append(free[0])
    return free


def moved_part(data):
    """The second part of a sheet drawn half a millimetre too far on."""
    with pikepdf.open(io.BytesIO(data)) as pdf:
        content = pdf.pages[2].Contents.read_bytes()
        pdf.pages[2].Contents = pdf.make_stream(re.sub(rb"^(1 0 0 1 )", rb"1 0 0 1 0.5 0 cm\n\1", content, count=1, flags=re.M))
        stream = io.BytesIO()
        pdf.save(stream)
        return stream.getvalue()


def seams(data):
    """The largest difference of neighbouring parts of a long sheet where both show the same 20 mm, in shades of 255."""
    pages = pypdfium2.PdfDocument(without_marks(data))
    worst = 0
    for left, right in zip(range(1, len(pages) - 1), range(2, len(pages))):
        high = pages[left].get_height() / POINT
        a, _ = picture(pages[left], (LONGEST - JOIN, 0), (LONGEST, high), (0, 0), PIXELS)
        b, _ = picture(pages[right], (0, 0), (JOIN, high), (0, 0), PIXELS)
        worst = max(worst, unlike(a, b) if min(a.min(), b.min()) < 128 else 255)  # a line does cross it
    return worst


FAULTS = {
    "a page less": with_pages(page_less),
    "a blank page": with_pages(blank_page),
    "print scaling": lambda data: data.replace(b"/PrintScaling/None", b"/PrintScaling/Dflt").replace(b"/PrintScaling /None", b"/PrintScaling /Nonx"),
    "twice the page": sub(rb"/MediaBox ?\[0 0 (\d)", rb"/MediaBox [0 0 9"),
    "a hidden layer": lambda data: data.replace(b"/D<<", b"/D<</OFF[4 0 R]").replace(b"/D <<\n", b"/D <</OFF[4 0 R]\n"),
    "a line less": sub(rb"^(/OC /cut BDC\n[^S]*\n)S$", rb"\1n"),
    "a curve bent": sub(rb"^(/OC /cut BDC\n[^S]*?\n)(\d+)([\d. ]* c)$", lambda m: m[1] + b"%d" % (int(m[2]) ^ 1) + m[3]),
    "another layer": sub(rb"^/OC /cut BDC", b"/OC /sew BDC"),
    "half the file": lambda data: data[: len(data) // 2],
}


def main(out_dir):
    if shutil.which("qpdf") is None:
        print("PDF files: not run: qpdf is absent, its Debian package is qpdf")
        return 1
    count, pictures = Count("PDF files"), {}
    for name, data, job in files(out_dir, ("pdf",)):
        if data is None:
            count.good(False, f"{name}: the samples do not have it")
            continue
        wrong = check(data, job)
        count.good(not wrong, f"{name}: {'; '.join(wrong)}")
        off = off_square(data, job)
        count.good(off <= 0.05, f"{name}: the check square is {off:.3f} mm off in the picture")
        spoilt = off_square(data, job, narrower=3)
        count.good(spoilt > 0.05, f"{name}: the seeded fault was not found: a narrow picture")
        if name.endswith("-long.pdf"):
            worst, spoilt = seams(data), seams(moved_part(data))
            count.good(worst <= SHADES, f"{name}: neighbours differ by {worst} shades of 255 where they overlap")
            count.good(spoilt > SHADES, f"{name}: the seeded fault was not found: a part moved by 0.5 mm")
        if name.endswith(("-pdf.pdf", "-tiles.pdf")):
            pictures[name] = sheet_picture(data, job)
        if name.startswith("plain-"):
            for fault, spoil in FAULTS.items():
                spoilt = spoil(data)
                if spoilt is None:
                    continue
                count.good(spoilt != data and check(spoilt, job), f"{name}: the seeded fault was not found: {fault}")
    for kind in ("plain", "leaning"):
        one, many = pictures[f"{kind}-pdf.pdf"], pictures[f"{kind}-tiles.pdf"]
        worst = unlike(one, many)
        count.good(worst <= SHADES, f"{kind}: pages put together differ from one page by {worst} shades of 255")
        count.good(unlike(one, np.roll(many, 1, 1)) > SHADES, f"{kind}: the seeded fault was not found: a pixel to the right")
    return count.done()


SHADES = 24  # of 255: coordinates in single precision shift a line's edge by hundredths of a pixel


def unlike(a, b):
    """The largest difference of two pictures where both show the sheet."""
    rows, columns = min(a.shape[0], b.shape[0]), min(a.shape[1], b.shape[1])
    return int(np.abs(a[:rows, :columns].astype(int) - b[:rows, :columns]).max())


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
