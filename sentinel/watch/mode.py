"""By which propagation mode an area comes in: a likelihood for each, and the plain reason.

For each mode: how well it explains the distances of the stations, times how usual it is at this hour and
season over the places where it would reflect, times whether the reception was as persistent as the mode is.
Es and meteor ranges coincide, so persistence separates them, not distance (common practice, no source).
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log

from sentinel.sky.circular import angle_between_deg
from sentinel.sky.geodesy import hop_midpoints
from sentinel.sky.hop import es_hops
from sentinel.sky.magnetics import magnetic_latitude_deg
from sentinel.sky.season import (
    aurora_weight,
    f2_weight,
    meteor_weight,
    sporadic_e_weight,
    transequatorial_weight,
)
from sentinel.watch.bulletin import Likelihood, Mode
from sentinel.watch.place import Place

ENOUGH = 0.60
"""Share of the evidence from which a mode is named; below, the answer is unknown with the two candidates."""
ENOUGH_OF_MANY = 0.40
"""The same for three stations and more, whose distances have already spoken."""
MOST_STATIONS_WEIGHED = 4.0
"""Distances of one area are not independent: a hundred stations say no more than about four would."""
TINY = 1e-6
F2_LONGEST_HOP_KM = 4_000.0
FLUX_IF_UNKNOWN = 190.0
"""Something far is coming through already; season and hour decide, not the odds of a high flux."""
MULTI_HOP_SHARE = 0.4
F2_SHARE = 3.0
TRANSEQUATORIAL_SHARE = 10.0
"""Weights of the three against each other at their best hours, so that each wins in its own season; a path
that is square to the magnetic equator, with ends alike, is too good a fit to be chance."""
FIRST_LANDFALL = 0.35
"""Where several hops are open, their first landfall often is too: nearer stations do not speak against it."""
LONGEST_ES_HOP_KM = 2_350.0
ONE_HOP_ALONG = 4.0
"""One-hop Es along the same bearing makes several hops that much likelier, and F2 as much less."""
NO_KP = 0.01
"""Share of days with a storm fit for aurora at 50 MHz where Kp is not known (about Kp 6, from memory)."""


@dataclass(frozen=True, slots=True)
class SpaceWeather:
    """What is known of the sun and the field; None where not."""

    flux: float | None = None
    kp: float | None = None


@dataclass(frozen=True, slots=True)
class Clues:
    """What there is to judge by. ``home`` is (lat, lon); ``is_persistent`` is beyond what pings do;
    ``has_one_hop_along``: one-hop Es is live along this bearing."""

    home: tuple[float, float]
    at_s: float
    places: tuple[Place, ...]
    is_persistent: bool
    has_one_hop_along: bool = False
    weather: SpaceWeather = SpaceWeather()


@dataclass(frozen=True, slots=True)
class Judgement:
    """The mode, or unknown, and each mode's share, largest first."""

    mode: Mode
    likelihoods: tuple[Likelihood, ...]


NOTHING = Judgement(Mode.UNKNOWN, ())


@lru_cache(maxsize=16)  # one bulletin asks the same several times, and a page or a panel again
def judge(clues: Clues) -> Judgement:
    """The likeliest mode; ``unknown`` when the two best are too close to call."""
    if not clues.places:
        return NOTHING
    scored = [
        (mode, prior * _distances(clues.places, mode), reason) for mode, prior, reason in _priors(clues)
    ]
    total = sum(score for _, score, _ in scored) or 1.0
    shares = sorted(
        ((mode, score / total, reason) for mode, score, reason in scored), key=lambda row: (-row[1], row[0])
    )
    likelihoods = tuple(
        Likelihood(mode, round(share, 3), reason) for mode, share, reason in shares if share >= 0.01
    )
    enough = ENOUGH if len(clues.places) < 3 else ENOUGH_OF_MANY
    return Judgement(shares[0][0] if shares[0][1] >= enough else Mode.UNKNOWN, likelihoods)


def is_along(bearing_a_deg: float, bearing_b_deg: float) -> bool:
    """Whether two headings are one direction for the purpose of several hops."""
    return angle_between_deg(bearing_a_deg, bearing_b_deg) <= 30.0


def _distances(places: tuple[Place, ...], mode: Mode) -> float:
    """How well the mode explains where the stations are: the mean fit in nats, for at most four stations."""
    fits = [_FIT[mode](place.distance_km) for place in places]
    if mode is Mode.MULTI_HOP_SPORADIC_E and any(place.distance_km > LONGEST_ES_HOP_KM for place in places):
        one_hop = _FIT[Mode.SPORADIC_E]
        nearer = (FIRST_LANDFALL * one_hop(place.distance_km) for place in places)
        fits = list(map(max, fits, nearer))
    mean = sum(log(max(TINY, fit)) for fit in fits) / len(fits)
    return exp(mean * min(MOST_STATIONS_WEIGHED, len(places)))


def _trapezoid(start: float, full: float, fade: float, end: float) -> Callable[[float], float]:
    """How well a distance in km fits: 0 to 1 from ``start`` to ``full``, back to 0 from ``fade`` to ``end``.

    Not a density: where the stations live decides how many are heard at which distance, not the mode.
    """

    def fit(distance_km: float) -> float:
        if distance_km <= start or distance_km >= end:
            return 0.0
        rise = min(1.0, (distance_km - start) / max(1.0, full - start))
        fall = min(1.0, (end - distance_km) / max(1.0, end - fade))
        return min(rise, fall)

    return fit


# Ranges in km: Whitehead 1989 and W3EP for Es, P.533 for F2 hops, Harrison for transequatorial, common
# practice for the rest (the table "Nature" of the project's check values).
_FIT: dict[Mode, Callable[[float], float]] = {
    Mode.TROPO: _trapezoid(0, 50, 500, 950),
    Mode.METEOR_SCATTER: _trapezoid(400, 800, 1900, 2350),
    Mode.AURORA: _trapezoid(150, 400, 1400, 2100),
    Mode.SPORADIC_E: _trapezoid(420, 1100, 2250, 2500),
    Mode.MULTI_HOP_SPORADIC_E: _trapezoid(2200, 2700, 6500, 10_500),
    Mode.F2: _trapezoid(2000, 3000, 11_000, 19_000),
    Mode.TRANSEQUATORIAL: _trapezoid(2800, 4000, 8500, 10_500),
}


def _priors(clues: Clues) -> Iterator[tuple[Mode, float, str]]:
    """Mode, its weight before distances, and the reason in words."""
    mean_km = sum(p.distance_km for p in clues.places) / len(clues.places)
    es_weights = [_es_weights(clues, place) for place in clues.places]
    hop_weight = _mean(map(_mean, es_weights))
    all_hops = _mean(map(_geometric_mean, es_weights))
    season = _in_words(hop_weight)
    yield (
        Mode.SPORADIC_E,
        hop_weight * (1.0 if clues.is_persistent else 0.1),
        f"one hop fits {mean_km:.0f} km; sporadic E is {season} at the midpoint now",
    )
    yield (
        Mode.MULTI_HOP_SPORADIC_E,
        MULTI_HOP_SHARE * all_hops * (ONE_HOP_ALONG if clues.has_one_hop_along else 1.0),
        f"{es_hops(max(mean_km, 1.0))} hops fit {mean_km:.0f} km; sporadic E is {season} along the path now"
        + ("; one hop is open the same way" if clues.has_one_hop_along else ""),
    )
    f2 = _mean(_f2_weight(clues, place) for place in clues.places)
    yield (
        Mode.F2,
        F2_SHARE * f2 / (ONE_HOP_ALONG if clues.has_one_hop_along else 1.0),
        f"F2 is {_in_words(F2_SHARE * f2)} at the midpoints at this hour and season",
    )
    tep = _mean(
        transequatorial_weight(clues.at_s, *clues.home, p.lat_deg, p.lon_deg, clues.weather.flux)
        for p in clues.places
    )
    yield (
        Mode.TRANSEQUATORIAL,
        TRANSEQUATORIAL_SHARE * tep,
        "the path crosses the magnetic equator squarely, both ends alike"
        if tep > 0.05
        else "the path does not suit the magnetic equator",
    )
    yield (
        Mode.AURORA,
        _aurora(clues),
        "a poleward heading" if _is_poleward(clues) else "not a poleward heading",
    )
    yield Mode.TROPO, 0.3, f"tropo reaches {mean_km:.0f} km" if mean_km < 900 else "too far for tropo"
    pings = _mean(meteor_weight(clues.at_s, p.lat_deg, p.lon_deg) for p in clues.places)
    yield (
        Mode.METEOR_SCATTER,
        pings * (1e-3 if clues.is_persistent else 1.0),
        "too persistent for meteor pings" if clues.is_persistent else "as brief as meteor pings",
    )


def _es_weights(clues: Clues, place: Place) -> list[float]:
    """How usual sporadic E is at each reflection on the way to a place."""
    points = hop_midpoints(*clues.home, place.lat_deg, place.lon_deg, es_hops(max(place.distance_km, 1.0)))
    return [sporadic_e_weight(clues.at_s, lat, lon) for lat, lon in points]


def _geometric_mean(weights: list[float]) -> float:
    """Every hop must be reflected, so a weak one spoils the others."""
    logs = [log(max(TINY, weight)) for weight in weights]
    return exp(sum(logs) / len(logs))


def _f2_weight(clues: Clues, place: Place) -> float:
    hops = max(1, -int(-place.distance_km // F2_LONGEST_HOP_KM))
    points = hop_midpoints(*clues.home, place.lat_deg, place.lon_deg, hops)
    flux = FLUX_IF_UNKNOWN if clues.weather.flux is None else clues.weather.flux
    return _mean(f2_weight(clues.at_s, lat, lon, flux) for lat, lon in points)


def _aurora(clues: Clues) -> float:
    if not _is_poleward(clues):
        return TINY
    if clues.weather.kp is None:
        return NO_KP
    return aurora_weight(clues.weather.kp, magnetic_latitude_deg(*clues.home))


def _is_poleward(clues: Clues) -> bool:
    pole_deg = 0.0 if clues.home[0] >= 0 else 180.0
    return all(angle_between_deg(p.bearing_deg, pole_deg) <= 60.0 for p in clues.places)


def _mean(values: Iterable[float]) -> float:
    kept = list(values)
    return sum(kept) / len(kept) if kept else 0.0


def _in_words(weight: float) -> str:
    if weight >= 2.0:
        return "in season"
    return "not rare" if weight >= 0.5 else "rare"
