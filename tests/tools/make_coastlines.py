"""Make sentinel/panel/data/coastlines.json from the npm package world-atlas.

    npm pack world-atlas && tar xzf world-atlas-*.tgz
    python tests/tools/make_coastlines.py package/land-110m.json sentinel/panel/data/coastlines.json

The file holds Natural Earth's land at 1:110 million (public domain) as TopoJSON; world-atlas packs it (ISC
licence). The coast is thinned by the Ramer-Douglas-Peucker rule to 0.15 degrees, less than one pixel of the
panel's map, and rounded to 0.1 degrees; cuts along the date line and the pole, which are no coast, are left
out.
"""

import json
import sys
from itertools import pairwise
from pathlib import Path

TOLERANCE_DEG = 0.15
SMALLEST_DEG = 0.7  # islands smaller than this in both directions are left out

Point = tuple[float, float]


def arcs_of(topology: dict) -> list[list[Point]]:
    """The arcs in degrees, longitude first (TopoJSON format specification 1, section 2.1.3)."""
    (scale_x, scale_y), (move_x, move_y) = topology["transform"]["scale"], topology["transform"]["translate"]
    arcs = []
    for arc in topology["arcs"]:
        x = y = 0
        points = []
        for dx, dy in arc:
            x, y = x + dx, y + dy
            points.append((x * scale_x + move_x, y * scale_y + move_y))
        arcs.append(points)
    return arcs


def is_cut(a: Point, b: Point) -> bool:
    """Whether a segment runs along the edge of the flat map and not along a coast."""
    on_date_line = abs(a[0]) > 179.9 and abs(b[0]) > 179.9
    on_pole = a[1] < -89.0 or b[1] < -89.0
    return on_date_line or on_pole


def without_cuts(arc: list[Point]) -> list[list[Point]]:
    lines = [[arc[0]]]
    for a, b in pairwise(arc):
        if is_cut(a, b):
            lines.append([b])
        else:
            lines[-1].append(b)
    return [line for line in lines if len(line) > 1]


def thinned(line: list[Point]) -> list[Point]:
    """Ramer 1972, Douglas and Peucker 1973, in degrees; a closed ring is opened at its middle point."""
    if len(line) < 3:
        return line
    (x0, y0), (x1, y1) = line[0], line[-1]
    length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5

    def off(point: Point) -> float:
        if length == 0.0:
            return float(((point[0] - x0) ** 2 + (point[1] - y0) ** 2) ** 0.5)
        return abs((x1 - x0) * (point[1] - y0) - (y1 - y0) * (point[0] - x0)) / length

    far = max(range(1, len(line) - 1), key=lambda i: off(line[i]))
    if off(line[far]) <= TOLERANCE_DEG:
        return [line[0], line[-1]]
    return thinned(line[: far + 1])[:-1] + thinned(line[far:])


def is_small(line: list[Point]) -> bool:
    xs, ys = [p[0] for p in line], [p[1] for p in line]
    return line[0] == line[-1] and max(xs) - min(xs) < SMALLEST_DEG and max(ys) - min(ys) < SMALLEST_DEG


def packed(line: list[Point]) -> list[int]:
    """The first point, then steps, in tenths of a degree."""
    tenths = [(round(10 * x), round(10 * y)) for x, y in line]
    steps = [(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(tenths)]
    return [value for pair in [tenths[0], *steps] for value in pair]


def main(source: Path, target: Path) -> None:
    arcs = arcs_of(json.loads(source.read_text("utf-8")))
    lines = [line for arc in arcs for line in without_cuts(arc) if not is_small(line)]
    rows = ",\n".join(json.dumps(packed(thinned(line)), separators=(",", ":")) for line in lines)
    about = (
        "Natural Earth land 1:110m, public domain; longitude and latitude in 0.1 degrees, "
        "first point then steps"
    )
    target.write_text(f'{{"about":"{about}",\n"lines":[\n{rows}\n]}}\n', "utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
