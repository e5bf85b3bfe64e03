"""SVG files of every kind of shape that is read, with points on them as svgelements sees them.

    python svg_kinds.py FOLDER

Writes NAME.svg and NAME.json, a list of chains of points in mm, y up from the page's lower edge.
"""

import io
import json
import sys
from pathlib import Path

from svgelements import SVG, Move, Shape
from svgelements import Path as Drawn

MM = 1 / (96 * 0.0393701)  # a millimetre's pixels as svgelements counts them

SHAPES = """
<g stroke="black" fill="none">
<path d="M10 10h20v5l-3,8H12zm30 0c5-9 12 9 20 2s9-3 9 9 l4 4q5-3 9 1T99 5"/>
<path d="M10,40a12 8 30 1 0 15-6A5 9-20 01 40 40a1 1 0 0020 3"/>
<rect x="5" y="60" width="30" height="20"/><rect x="45" y="60" width="30" height="20" rx="4"/>
<rect x="85" y="60" width="30" height="20" rx="40" ry="6"/>
<circle cx="20" cy="100" r="9.5"/><ellipse cx="60" cy="100" rx="22" ry="7"/>
<line x1="80" y1="90" x2="110" y2="111"/>
<polyline points="5,120 20,130 30,115,40,128"/><polygon points="50 120 70 130 80 115"/>
<g transform="translate(20,140) rotate(25) scale(1.5,-1)"><path d="M0 0L20 0L20 9Z"/>
<g transform="skewX(20) matrix(.5 .1 -.2 .9 3 4)"><circle r="10"/></g><circle transform="rotate(30,5,5)" cx="30" r="4"/></g>
<path d="M1 1 2 3 4-5.5.5e1 7m1 1z" transform="translate(90 140)"/>
</g>
"""

FILES = {
    "millimetres": f'<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="180mm" viewBox="0 0 120 180">{SHAPES}</svg>',
    "inches": f'<svg xmlns="http://www.w3.org/2000/svg" width="4in" height="6in" viewBox="0 0 120 180">{SHAPES}</svg>',
    "pixels": f'<svg xmlns="http://www.w3.org/2000/svg" width="480" height="720px">{SHAPES}</svg>',
    "wide": f'<svg xmlns="http://www.w3.org/2000/svg" width="30cm" height="180mm" viewBox="-10 -5 150 200">{SHAPES}</svg>',
    "stretched": f'<svg xmlns="http://www.w3.org/2000/svg" width="30cm" height="180mm" viewBox="0 0 150 200"'
    f' preserveAspectRatio="none">{SHAPES}</svg>',
    "left": f'<svg xmlns="http://www.w3.org/2000/svg" width="30cm" height="180mm" viewBox="0 0 150 200"'
    f' preserveAspectRatio="xMinYMid meet">{SHAPES}</svg>',
    "used": '<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="180mm" viewBox="0 0 120 180"><defs>'
    '<path id="flap" fill="none" stroke="black" d="M0 0C5 9 15 9 20 0z"/></defs><use href="#flap" x="9" y="8"/>'
    '<g transform="rotate(10)"><use href="#flap" transform="scale(2)" x="20" y="30"/></g></svg>',
}


def main():
    folder = Path(sys.argv[1])
    for name, text in FILES.items():
        (folder / f"{name}.svg").write_text(text)
        svg = SVG.parse(io.StringIO(text), reify=False, ppi=96)
        height = svg.height * MM
        chains = []
        for shape in svg.elements():
            if not isinstance(shape, Shape):
                continue
            chain = []
            # Sampled before they are transformed: svgelements' own arcs go wrong under a skew.
            for segment in Drawn(shape):
                if isinstance(segment, Move):
                    if len(chain) > 1:
                        chains.append(chain)
                    chain = [shape.transform.point_in_matrix_space(segment.end)]
                    continue
                chain += [shape.transform.point_in_matrix_space(segment.point(i / 400)) for i in range(401)]
            chains.append(chain)
        chains = [[(p.x * MM, height - p.y * MM) for p in chain] for chain in chains]
        (folder / f"{name}.json").write_text(json.dumps(chains))


main()
