"""The strokes of `cargo bench --bench write` as a DXF written by the library ezdxf (PyPI, pinned in
tests/outside/requirements.txt): python benches/peer/write.py STROKES.json OUT.dxf ROUNDS

STROKES.json is a list of [layer, closed, chain] with a chain of points for straight lines, of 3n + 1 control points for n
cubics where `closed` is null. Prints the seconds of processor time of each round, from an empty drawing to the last byte
in memory; the first drawing is written to OUT.dxf."""

import io
import json
import sys
import time

import ezdxf


def write(strokes):
    doc = ezdxf.new("R2000", units=4)
    space = doc.modelspace()
    for layer in {layer for layer, _, _ in strokes}:
        doc.layers.add(layer)
    for layer, closed, chain in strokes:
        at = {"layer": layer}
        if closed is None:
            pieces = (len(chain) - 1) // 3
            knots = [0.0] * 4 + [float(i) for i in range(1, pieces) for _ in range(3)] + [float(pieces)] * 4
            spline = space.add_spline(degree=3, dxfattribs=at)
            spline.control_points = chain
            spline.knots = knots
        elif len(chain) == 2 and not closed:
            space.add_line(*chain, at)
        else:
            space.add_lwpolyline(chain, "xy", close=closed, dxfattribs=at)
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue()


def main(strokes, out, rounds):
    with open(strokes, encoding="utf-8") as file:
        strokes = json.load(file)
    for round in range(int(rounds)):
        began = time.process_time()
        text = write(strokes)
        print(time.process_time() - began, flush=True)
        if round == 0:
            with open(out, "w", encoding="utf-8") as file:
                file.write(text)


if __name__ == "__main__":
    main(*sys.argv[1:])
