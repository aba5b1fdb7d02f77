"""Mechanisms for an opening from a home to somewhere: where the clouds stand, how strong, for how long.

Each function picks a target among the real densities of stations, puts the ionisation where geometry wants
it, and leaves everything else (who is heard, when, how loud) to the physics.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

from sentinel.rehearsal.clouds import Cloud, Swell
from sentinel.rehearsal.openings import F2, Aurora, Ground, SporadicE, Transequatorial
from sentinel.rehearsal.paths import HomePath
from sentinel.rehearsal.physics import Vector, arc_km, moved, place_of
from sentinel.sky.magnetics import Crossing, crosses_dip_equator

Gaps = tuple[tuple[float, float], ...]
# A target counts only with this many neighbours: an opening into an empty sea is nobody's opening.
_FEWEST_NEIGHBOURS = 14
_NEIGHBOURHOOD_KM = 300.0


def populous_target(
    paths: Sequence[HomePath],
    nearest_km: float,
    farthest_km: float,
    rng: random.Random,
    fewest: int = _FEWEST_NEIGHBOURS,
) -> HomePath | None:
    """A random station in a range of distances that has enough neighbours of its own, or None."""
    within = [path for path in paths if nearest_km <= path.arc_km <= farthest_km]
    rng.shuffle(within)
    for path in within[:40]:
        around = sum(1 for other in within if arc_km(other.there, path.there) < _NEIGHBOURHOOD_KM)
        if around >= fewest:
            return path
    return None


def sporadic_e(
    name: str,
    target: HomePath,
    began_s: float,
    ended_s: float,
    rng: random.Random,
    gaps: Gaps = (),
    hops: int = 1,
) -> SporadicE:
    """A group of clouds about each reflection point of the way to the target.

    One cloud lasts throughout; others, smaller and faster, come and go around it. Drift is towards the pole
    in the morning and the equator in the afternoon (W3EP), 20-130 m/s; the lasting cloud is a slow one.
    """
    hop_km = target.arc_km / hops
    # each hop more costs some 35 dB, so only stronger and wider ionisation carries several
    needed_mhz, scale = (_needed_mhz(hop_km), 1.0) if hops == 1 else (1.35 * _needed_mhz(hop_km), 1.8)
    clouds: list[Cloud] = []
    for hop in range(hops):
        spot = _Spot(target.reflection(hop, hops), needed_mhz, scale, began_s, ended_s, gaps)
        passing = round((ended_s - began_s) / 900.0 * scale)
        clouds += [_lasting_cloud(spot, rng), *(_passing_cloud(spot, rng) for _ in range(passing))]
    return SporadicE(name, tuple(clouds))


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where and when a group of clouds stands, and how strong it must be."""

    point: Vector
    needed_mhz: float
    scale: float
    began_s: float
    ended_s: float
    gaps: Gaps

    @property
    def life_s(self) -> float:
        return self.ended_s - self.began_s


def _lasting_cloud(spot: _Spot, rng: random.Random) -> Cloud:
    speed_m_s = rng.uniform(20.0, 30.0)
    bearing = _drift_bearing(spot.point, spot.began_s, rng)
    # over the spot half-way through its life
    start = moved(spot.point, (bearing + 180.0) % 360.0, speed_m_s * spot.life_s / 2000.0)
    rise_s = min(600.0, spot.life_s * rng.uniform(0.08, 0.25))
    decline_s = min(900.0, spot.life_s * rng.uniform(0.1, 0.3))
    swell = Swell(spot.began_s, spot.ended_s, rise_s, decline_s, spot.gaps)
    peak_mhz = spot.needed_mhz * rng.uniform(1.0, 1.4)
    return Cloud(start, rng.uniform(55.0, 90.0) * spot.scale, peak_mhz, bearing, speed_m_s, swell)


def _passing_cloud(spot: _Spot, rng: random.Random) -> Cloud:
    life_s = min(spot.life_s, rng.uniform(700.0, 2700.0))
    start_s = rng.uniform(spot.began_s, spot.ended_s - life_s)
    start = moved(spot.point, rng.uniform(0.0, 360.0), abs(rng.gauss(0.0, 90.0)) * spot.scale)
    swell = Swell(start_s, start_s + life_s, 240.0, 300.0, spot.gaps)
    peak_mhz = spot.needed_mhz * rng.uniform(0.95, 1.5)
    bearing = _drift_bearing(spot.point, start_s, rng)
    return Cloud(
        start, rng.uniform(20.0, 60.0) * spot.scale, peak_mhz, bearing, rng.uniform(20.0, 130.0), swell
    )


def _drift_bearing(point: Vector, at_s: float, rng: random.Random) -> float:
    lat, lon = place_of(point)
    hour = (at_s / 3600.0 + lon / 15.0) % 24.0
    poleward = 0.0 if lat >= 0.0 else 180.0
    return (poleward + (0.0 if hour < 12.0 else 180.0) + rng.gauss(0.0, 40.0)) % 360.0


def _needed_mhz(hop_km: float) -> float:
    """Vertical frequency for a hop with 30 to 40 dB of loss: 10.5 MHz at 1,000 km, 7.3 at 2,000 km."""
    return 7.3 + 3.2 * max(0.0, (2000.0 - hop_km) / 1000.0)


def f2(name: str, target: HomePath, began_s: float, ended_s: float, rng: random.Random) -> F2:
    """Regions about the reflection points whose MUF exceeds 50 MHz for the life of the opening."""
    hops = max(1, math.ceil(target.arc_km / 4100.0))
    life_s = ended_s - began_s
    swell = Swell(began_s, ended_s, life_s * 0.2, life_s * 0.3)
    clouds = tuple(
        Cloud(
            target.reflection(hop, hops),
            rng.uniform(800.0, 1200.0),
            rng.uniform(54.0, 62.0),
            270.0,
            60.0,
            swell,
        )
        for hop in range(hops)
    )
    return F2(name, clouds)


def transequatorial_target(
    paths: Sequence[HomePath], is_evening: bool, rng: random.Random
) -> HomePath | None:
    """A station on the far side of the dip equator whose path is about symmetric and square to it."""
    shortest, longest, widest_deg = (3500.0, 7500.0, 15.0) if is_evening else (4500.0, 9000.0, 30.0)
    within = [path for path in paths if shortest <= path.arc_km <= longest]
    rng.shuffle(within)
    for path in within[:250]:
        if _is_transequatorial(path, widest_deg):
            around = sum(1 for other in within if arc_km(other.there, path.there) < 600.0)
            if around >= 4:
                return path
    return None


def crosses_equator(path: HomePath) -> bool:
    """Whether the path crosses the dip equator."""
    return _crossing(path) is not None


def _crossing(path: HomePath) -> Crossing | None:
    return crosses_dip_equator(*place_of(path.home), path.station.lat_deg, path.station.lon_deg)


def _is_transequatorial(path: HomePath, widest_deg: float) -> bool:
    crossing = _crossing(path)
    return crossing is not None and crossing.off_square_deg < widest_deg and crossing.asymmetry_deg < 8.0


def transequatorial(
    name: str, target: HomePath, is_evening: bool, began_s: float, ended_s: float
) -> Transequatorial:
    """The active part of the dip equator half-way to the target."""
    life_s = ended_s - began_s
    return Transequatorial(
        name, target.reflection(0, 1), Swell(began_s, ended_s, life_s * 0.2, life_s * 0.25), is_evening
    )


def aurora(
    name: str, home_paths: Sequence[HomePath], began_s: float, ended_s: float, rng: random.Random
) -> Aurora:
    """A curtain 700-900 km poleward of home, a little east or west of the pole's direction."""
    poleward = 0.0 if place_of(home_paths[0].home)[0] >= 0.0 else 180.0
    curtain = moved(home_paths[0].home, poleward + rng.gauss(0.0, 15.0), rng.uniform(650.0, 900.0))
    return Aurora(name, curtain, Swell(began_s, ended_s, 900.0, 900.0))


def tropo(name: str, began_s: float, ended_s: float, rng: random.Random) -> Ground:
    """A night's enhancement: the slope of the ground path flattens by half or more."""
    life_s = ended_s - began_s
    swell = Swell(began_s, ended_s, life_s * 0.3, life_s * 0.3)
    return Ground(name, swell, rng.uniform(0.10, 0.14), began_s=began_s, ended_s=ended_s)
