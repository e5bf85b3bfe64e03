"""Proof sheets, read by a reference parser: python tests/outside/proof_sheets.py OUT_DIR

Reads every .html below OUT_DIR and those that tests/report writes. The sources of the checks:
- well-formed: html5lib in strict mode, which follows the parsing rules of the HTML Living Standard;
- nothing that runs but the page's own script, whose SHA-256 the page's policy names (W3C, CSP 3, 2.3.1; the digest by Python's
  hashlib), nothing that is fetched: the elements and attributes of that standard that do so;
- tables, pictures and boxes that can be read aloud: WCAG 2.2, success criteria 1.1.1, 1.3.1 and 3.3.2;
- contrast: WCAG 2.2, success criteria 1.4.3 (text, 4.5 : 1) and 1.4.11 (lines, 3 : 1), by its formula;
- the bar under each drawing: an inch is 25.4 mm (International yard and pound agreement, 1959).

Each check is also given pages with a seeded fault, and must find it.
"""

import base64
import hashlib
import re
import sys
from fractions import Fraction
from pathlib import Path

import html5lib

ROOT = Path(__file__).resolve().parent.parent.parent
HTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"
INCH = 25.4

ELEMENTS = {HTML + name for name in (
    "html head meta title style body header main section article h1 h2 h3 p a ul ol li dl div dt dd table caption thead tbody tr th "
    "td fieldset legend label input i b small strong span br wbr figure figcaption script button select option output").split()}
ELEMENTS |= {SVG + name for name in "svg g path rect circle title text".split()}

HOSTILE = "</title><script>alert(1)</script>\"'><img src=x onerror=alert(1)>&amp;\ufffd\ufffd[2J"

# What each colour is seen on, and the least contrast.
TEXT = [("ink", "paper"), ("ink", "card"), ("soft", "paper"), ("soft", "card"), ("link", "paper"), ("link", "card"), ("good", "paper"),
        ("good", "card"), ("hold", "paper"), ("hold", "card"), ("look", "card"), ("ink", "good-bed"), ("ink", "hold-bed"), ("sew", "body"),
        ("ink", "body")]
LINES = [(role, bed) for role in "cut sew notch grain fold drill line dart label square".split() for bed in ("body", "card", "paper")]


def text_of(element):
    return "".join(element.itertext())


def well_formed(page):
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=True)
    try:
        parser.parse(page)
    except Exception as error:  # html5lib's ParseError, and what it raises over bad characters
        return [f"not well formed: {error!r} {parser.errors[-1:]}"]
    return []


def inert(page):
    faults = []
    for element in parse(page).iter():
        if element.tag not in ELEMENTS:
            faults.append(f"element {element.tag}")
        for name, value in element.attrib.items():
            if name.startswith("on") or name in ("src", "srcset", "action", "style", "xlink:href"):
                faults.append(f"attribute {name}")
            if name == "href" and not value.startswith("#"):
                faults.append(f"link to {value}")
        if element.tag == HTML + "style" and re.search(r"url\(|@import|image-set|src\(", text_of(element)):
            faults.append("the style sheet fetches something")
    policy = [m.get("content") for m in parse(page).iter(HTML + "meta") if m.get("http-equiv") == "Content-Security-Policy"]
    digest = re.fullmatch(r"default-src 'none'; style-src 'unsafe-inline'(?:; script-src 'sha256-([A-Za-z0-9+/=]{44})')?", "|".join(policy))
    if digest is None:
        faults.append(f"policy {policy}")
    scripts = list(parse(page).iter(HTML + "script"))
    if len(scripts) > 1:
        faults.append(f"{len(scripts)} scripts")
    for script in scripts:
        own = base64.b64encode(hashlib.sha256(text_of(script).encode("utf-8")).digest()).decode("ascii")
        if script.attrib or digest is None or own != digest[1]:
            faults.append(f"a script that the policy does not name: {own}")
        if re.search(r"fetch|XMLHttp|import|eval|innerHTML|Function|WebSocket|sendBeacon|localStorage|cookie", text_of(script)):
            faults.append("the script does more than move pictures")
    return faults


def read_aloud(page):
    tree = parse(page)
    faults = []
    if not tree.get("lang"):
        faults.append("no language")
    ids = [e.get("id") for e in tree.iter() if e.get("id")]
    faults += [f"id {i} twice" for i in set(ids) if ids.count(i) > 1]
    faults += [f"link to nothing: {a.get('href')}" for a in tree.iter(HTML + "a") if a.get("href")[1:] not in ids]
    for table in tree.iter(HTML + "table"):
        caption = table.find(HTML + "caption")
        if caption is None or not text_of(caption).strip():
            faults.append("a table without a caption")
        heads = table.findall(f"{HTML}thead/{HTML}tr/{HTML}th")
        if not heads or any(h.get("scope") != "col" or not text_of(h).strip() for h in heads):
            faults.append("a table with a nameless column")
        for row in table.findall(f"{HTML}tbody/{HTML}tr"):
            if len(row) != len(heads) or row[0].tag != HTML + "th" or row[0].get("scope") != "row":
                faults.append("a row that does not fit its table")
    for drawing in tree.iter(SVG + "svg"):
        if drawing.get("role") != "img" or not (drawing.get("aria-label") or "").strip():
            faults.append("a drawing without words")
    labelled = {box for label in tree.iter(HTML + "label") for box in label.iter(HTML + "input") if text_of(label).strip()}
    faults += ["a box without words" for box in tree.iter(HTML + "input") if box not in labelled]
    if len(list(tree.iter(HTML + "h1"))) != 1:
        faults.append("not one main heading")
    return faults


def luminance(colour):
    """Relative luminance, WCAG 2.2."""
    full = colour if len(colour) == 6 else "".join(c * 2 for c in colour)
    parts = [int(full[i:i + 2], 16) / 255 for i in (0, 2, 4)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(a, b):
    dark, light = sorted((luminance(a), luminance(b)))
    return (light + 0.05) / (dark + 0.05)


def readable(page):
    style = text_of(next(parse(page).iter(HTML + "style")))
    blocks = [dict(re.findall(r"--([a-z-]+): #([0-9a-f]{3,6});", block)) for block in re.findall(r":root \{(.*?)\}", style, re.S)]
    faults = [] if len(blocks) == 3 else [f"{len(blocks)} sets of colours, not light, dark and print"]
    for name, colours in zip(("light", "dark", "print"), blocks):
        for pairs, least in ((TEXT, 4.5), (LINES, 3.0)):
            for front, back in pairs:
                if contrast(colours[front], colours[back]) < least:
                    faults.append(f"{name}: {front} on {back} is {contrast(colours[front], colours[back]):.2f}, under {least}")
    return faults


def millimetres(figure):
    """`4 in`, `1 1/2 in`, `10 cm`, `500 mm`."""
    *number, unit = figure.split()
    return float(sum(Fraction(part) for part in number)) * {"in": INCH, "cm": 10.0, "mm": 1.0}[unit]


def to_scale(page):
    """Each drawing's bar is as long as it says, and the drawing prints at the scale that its section states."""
    faults = []
    for section in parse(page).iter(HTML + "section"):
        drawings = list(section.iter(SVG + "svg"))
        if not drawings:
            continue
        scale = re.search(r"Drawn at 1 : ([\d.]+)", text_of(section))
        if scale is None:
            # Seams as strips state a scale each: see `strips`.
            if any(g.get("class") == "bar" for g in section.iter(SVG + "g")):
                faults.append("a drawing with a bar in a section that states no scale")
            continue
        stated = float(scale.group(1))
        for drawing in drawings:
            bar = next(g for g in drawing.iter(SVG + "g") if g.get("class") == "bar")
            long = float(re.search(r"h([\d.]+)", bar.find(SVG + "path").get("d")).group(1))
            says = text_of(bar.find(SVG + "text"))
            if abs(long - millimetres(says)) > 0.01:
                faults.append(f"a bar of {long} mm says {says}")
            wide = float(drawing.get("viewBox").split()[2]) / float(drawing.get("width").removesuffix("mm"))
            if abs(wide / stated - 1) > 0.001:
                faults.append(f"a drawing at 1 : {wide} says 1 : {stated}")
    return faults


def strips(page):
    """Each strip of a seam is as long as the length above or below it says, at the scale that its caption states."""
    faults = []
    for figure in parse(page).iter(HTML + "figure"):
        if figure.get("class") != "strips":
            continue
        caption = text_of(figure.find(HTML + "figcaption"))
        scale = float(re.search(r"1 : ([\d.]+)", caption).group(1))
        figures = [(float(t.get("x")), text_of(t).replace("\xa0", " ")) for t in figure.iter(SVG + "text") if not t.get("class")]
        seen = 0
        for strip in figure.iter(SVG + "rect"):
            left, wide = float(strip.get("x")), float(strip.get("width"))
            near = [text for x, text in figures if abs(x - (left + wide / 2)) < 0.11]
            says = [re.search(r"((?:\d+ )?\d+/\d+|[\d.]+) (in|cm|mm)$", text) for text in near]
            lengths = [millimetres(found.group(0)) for found in says if found]
            seen += bool(lengths)
            # Lengths are written to the sixteenth of an inch or the millimetre.
            if lengths and all(abs(wide * scale - length) > 0.8 + 0.01 * scale for length in lengths):
                faults.append(f"{caption}: a strip of {wide * scale:.2f} mm says {near}")
        if not seen:
            faults.append(f"{caption}: no strip says its length")
    return faults


CHECKS = [well_formed, inert, read_aloud, readable, to_scale, strips]


def parse(page):
    return html5lib.parse(page, treebuilder="etree", namespaceHTMLElements=True)


def seeded(page):
    """Pairs of a check and a page that it must refuse."""
    return [
        (well_formed, page.replace("</section>", "", 1)),
        (well_formed, page.replace("</h1>", "</h1><p>a & b &nosuch; \0", 1)),
        (inert, page.replace("<main>", "<main><script>x()</script>", 1)),
        (inert, page.replace("const way of", "const way  of", 1)),
        (inert, page.replace("<script>", "<script src=\"x.js\">", 1)),
        (inert, page.replace("; script-src 'sha256-", "; script-src 'unsafe-inline' 'sha256-", 1)),
        (inert, page.replace("<main>", "<main onclick=\"x()\">", 1)),
        (inert, page.replace("<main>", "<main><a href=\"//elsewhere.example\">x</a>", 1)),
        (inert, page.replace("<style>", "<style>body{background:url(x.png)}", 1)),
        (inert, page.replace("default-src 'none'", "default-src *", 1)),
        (read_aloud, page.replace("scope=\"col\"", "", 1)),
        (read_aloud, re.sub(r"<caption>.*?</caption>", "", page, count=1)),
        (read_aloud, page.replace(" role=\"img\"", "", 1)),
        (read_aloud, page.replace("piece-1\"", "piece-2\"")),
        (read_aloud, re.sub(r"(<td[^>]*>.*?</td>)", "", page, count=1)),
        (readable, page.replace("--soft: #635b4e", "--soft: #a39b8e", 1)),
        (to_scale, re.sub(r"(class=\"bar\"><path d=\"[^h]*h)", r"\g<1>1", page, count=1)),
        (to_scale, page.replace("Drawn at 1 : 5", "Drawn at 1 : 4", 1)),
        (strips, re.sub(r'(<rect x="[\d.]+" y="[\d.]+" width=")', r"\g<1>1", page)),
    ]


def the_pocket(page):
    """The demonstration's pocket, 4 × 6 in with half an inch all round, is drawn 5 × 7 in (arithmetic)."""
    drawing = next(s for s in parse(page).iter(SVG + "svg") if s.get("aria-label").startswith("Pocket"))
    cut = next(g for g in drawing.iter(SVG + "g") if g.get("class") == "layer cut").find(SVG + "path").get("d")
    points = [tuple(map(float, pair.split())) for pair in re.findall(r"[ML]([-\d.]+ [-\d.]+)", cut)]
    size = [max(axis) - min(axis) for axis in zip(*points)]
    return [] if all(abs(a - b * INCH) < 0.011 for a, b in zip(size, (5, 7))) else [f"the pocket is drawn {size} mm"]


def main(out_dir):
    passed, failed = 0, 0

    def count(good, what):
        nonlocal passed, failed
        passed, failed = passed + bool(good), failed + (not good)
        if not good:
            print(f"FAILED {what}")

    own = ROOT / "target" / "tmp" / "proof-sheets"
    pages = sorted(own.glob("*.html")) + sorted(Path(out_dir).rglob("*.html"))
    for path in pages:
        page = path.read_bytes().decode("utf-8")
        for check in CHECKS:
            faults = check(page)
            count(not faults, f"{path.name}: {check.__name__}: {faults[:5]}")
    try:
        tunic, hostile = ((own / name).read_text("utf-8") for name in ("tunic.html", "hostile.html"))
    except OSError as error:
        print(f"proof sheets: not run: run cargo test first ({error.filename})")
        return 1
    for number, (check, page) in enumerate(seeded(tunic)):
        count(page != tunic and check(page), f"seeded fault {number} was not found by {check.__name__}")
    faults = the_pocket(tunic)
    count(not faults, faults)
    count(the_pocket(tunic.replace("114.3", "115.3")), "a pocket drawn too large was not found")
    # A hostile name is read as it was written.
    count(text_of(next(parse(hostile).iter(HTML + "h1"))) == HOSTILE, "the hostile style's name")
    print(f"proof sheets: {passed} passed, {failed} failed")
    return 0 if failed == 0 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
