"""Path order against OR-tools' routing (Apache-2.0): the same instances, both with fixed starts, in one run.

Open strokes may be gone through either way, so each is a node with two alternatives; here both ends are nodes and the arc
between them costs nothing so that no tour does without it. Run as `python tests/outside/order.py OUT_DIR`.
"""

import json
import math
import random
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from ortools.constraint_solver import pywrapcp, routing_enums_pb2

ROOT = Path(__file__).resolve().parent.parent.parent
SECONDS = 2
BIG = 100_000_000


def instance(seed, pieces, marks):
    """Pieces with open marks, an inner ring and an outline, in file order."""
    rnd = random.Random(seed)
    lines = []
    for piece in range(pieces):
        x, y = rnd.uniform(100, 2000), rnd.uniform(100, 800)
        ring = lambda r: [[x + r * math.cos(t), y + r * math.sin(t)] for t in (k * math.tau / 9 for k in range(9))]
        lines += [[piece, 2, True, ring(90)], [piece, 1, True, ring(75)]]
        for _ in range(marks):
            a = [x + rnd.uniform(-60, 60), y + rnd.uniform(-60, 60)]
            lines.append([piece, 0, False, [a, [a[0] + rnd.uniform(-20, 20), a[1] + rnd.uniform(-20, 20)]]])
    return lines


def ends(line):
    points = line[3]
    return points[0], points[0] if line[2] else points[-1]


def travel(lines, tour):
    """Round trip from the origin; `tour` holds (index, reversed)."""
    at, total = (0.0, 0.0), 0.0
    for index, backwards in tour:
        start, end = ends(lines[index])[:: -1 if backwards else 1]
        total += math.dist(at, start)
        at = end
    return total + math.dist(at, (0.0, 0.0))


def peer(lines):
    """OR-tools' tour: guided local search for SECONDS."""
    points = [(0.0, 0.0)] + [tuple(p) for line in lines for p in ends(line)]
    count = len(points)
    mate = lambda a, b: a > 0 and b > 0 and (a - 1) // 2 == (b - 1) // 2

    # Every arc but those through a stroke costs BIG more, so a tour uses as many of those as there are.
    matrix = [[0 if mate(a, b) or a == b else BIG + round(1000 * math.dist(points[a], points[b])) for b in range(count)] for a in range(count)]
    manager = pywrapcp.RoutingIndexManager(count, 1, 0)
    routing = pywrapcp.RoutingModel(manager)
    transit = routing.RegisterTransitMatrix(matrix)
    routing.SetArcCostEvaluatorOfAllVehicles(transit)
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.GLOBAL_CHEAPEST_ARC
    search.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    search.time_limit.FromSeconds(SECONDS)
    solution = routing.SolveWithParameters(search)
    nodes, index = [], routing.Start(0)
    while not routing.IsEnd(index):
        nodes.append(manager.IndexToNode(index))
        index = solution.Value(routing.NextVar(index))
    nodes = nodes[1:]
    tour, at = [], 0
    while at < len(nodes):
        assert mate(nodes[at], nodes[at + 1]), "the peer took a stroke apart"
        tour.append(((nodes[at] - 1) // 2, nodes[at] % 2 == 0))
        at += 2
    return tour


def main(out_dir):
    del out_dir
    passed = failed = 0

    def check(good, what):
        nonlocal passed, failed
        passed, failed = passed + good, failed + (not good)
        print(("good " if good else "BAD  ") + what)

    with tempfile.TemporaryDirectory() as folder:
        for seed, (pieces, marks) in enumerate([(2, 4), (4, 6), (6, 8), (10, 10)]):
            lines = instance(seed, pieces, marks)
            file = Path(folder) / f"{seed}.json"
            file.write_text(json.dumps(lines))
            ours = {}
            for name, words in {"plain": [], "precedence": ["--precedence"]}.items():
                run = ["cargo", "bench", "-q", "--bench", "order", "--", str(file), "--kicks", "20000", "--fixed-starts", "--tours", *words]
                text = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=True).stdout
                said = float(re.search(r"ordered ([0-9.]+) mm", text)[1])
                order = json.loads(re.search(r"^(\[.*\])$", text, re.M)[1])
                # Our own sum is not trusted: the best directions of that order are reckoned here.
                best = directed(lines, order)
                check(sorted(order) == list(range(len(lines))) and abs(best - said) < 0.1, f"{len(lines)} paths, {name}: {said} mm said, {best:.1f} found")
                ours[name] = best
                if words:
                    seen, early = {}, 0
                    for index in order:
                        piece, level = lines[index][:2]
                        early += level < seen.get(piece, level)
                        seen[piece] = max(level, seen.get(piece, level))
                    check(early == 0, f"{len(lines)} paths: {early} too early")
            theirs = travel(lines, peer(lines))
            check(ours["plain"] <= theirs * 1.001, f"{len(lines)} paths: {ours['plain']:.1f} mm, OR-tools in {SECONDS} s {theirs:.1f} mm, with precedence {ours['precedence']:.1f} mm")
            # Seeded: the order as given is no match.
            check(travel(lines, [(i, False) for i in range(len(lines))]) > theirs * 1.001, "file order is seen to be longer")
    print(f"order: {passed} passed, {failed} failed")
    return 1 if failed else 0


def directed(lines, order):
    """The shortest round trip in that order, each path either way."""
    costs = {(0.0, 0.0): 0.0}
    for index in order:
        start, end = ends(lines[index])
        new = {}
        for a, b in ((start, end), (end, start)):
            value = min(cost + math.dist(at, a) for at, cost in costs.items())
            new[tuple(b)] = min(value, new.get(tuple(b), math.inf))
        costs = new
    return min(cost + math.dist(at, (0.0, 0.0)) for at, cost in costs.items())


if __name__ == "__main__":
    sys.exit(main(sys.argv[1] if len(sys.argv) > 1 else "out"))
