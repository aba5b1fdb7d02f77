"""Where and when a scenario takes place: a home, a populous target, an hour that nature would choose."""

import random
from collections.abc import Callable
from dataclasses import dataclass

from sentinel.rehearsal import skies
from sentinel.rehearsal.heard import Home
from sentinel.rehearsal.homes import any_home, es_hour, es_months, moment
from sentinel.rehearsal.paths import HomePath, paths_from, true_path
from sentinel.rehearsal.physics import place_of
from sentinel.rehearsal.scene import Scene
from sentinel.sky.circular import angle_between_deg

HOUR_S = 3600.0
DAY_S = 86400.0
# A prelude long enough to settle, and longer than the hold times of any watch after the end.
_BEFORE_S = (40 * 60, 80 * 60)
_AFTER_S = 50 * 60
# About half of all sporadic E targets at the commonest distances, the rest nearer (common practice).
_COMMONEST_KM = (1700.0, 2200.0)
_NEARER_KM = (950.0, 1800.0)

Minutes = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Plan:
    """An opening to come: from ``home`` towards ``target``, from ``began_s`` to ``ended_s``."""

    kind: str
    seed: int
    rng: random.Random
    home: Home
    target: HomePath
    began_s: float
    ended_s: float

    def scene(self) -> Scene:
        """The band around the opening with its usual background: locals, pings, a few false decodes."""
        rng = self.rng
        began_s = self.began_s - rng.uniform(*_BEFORE_S)
        scene = Scene(self.kind, self.seed, self.home, began_s, self.ended_s + _AFTER_S)
        scene.add_locals(rng.randint(0, 6), activity=rng.uniform(0.1, 0.4))
        scene.add_pings(rng.uniform(0.0, 2.0))
        scene.add_false_decodes(rng.uniform(0.5, 8.0))
        return scene


def whole_days(kind: str, seed: int, days: float = 1.0) -> tuple[Scene, random.Random]:
    """An empty scene of so many days somewhere in the world, in any month."""
    rng = dice(kind, seed)
    home = any_home(rng)
    began_s = moment(rng, tuple(range(1, 13)), rng.uniform(0.0, 24.0), home.place[1])
    return Scene(kind, seed, home, began_s, began_s + days * DAY_S), rng


def sporadic_e_plan(kind: str, seed: int, minutes: Minutes) -> Plan:
    """One hop, in season, at an hour of the two daily maxima."""
    rng = dice(kind, seed)
    home, target = _home_and_target(seed, rng, _es_target)
    return _timed(kind, seed, rng, home, target, es_months(_middle(target)[0]), es_hour(rng), minutes)


def two_way_plan(kind: str, seed: int, minutes: Minutes) -> tuple[Plan, HomePath]:
    """A plan, and a second target at least 50 degrees away from its own."""
    rng = dice(kind, seed)
    other = None
    while other is None:
        home, target = _home_and_target(seed, rng, _es_target)
        other = _elsewhere(paths_from(home, seed), home, target, rng)
    months = es_months(_middle(target)[0])
    return _timed(kind, seed, rng, home, target, months, es_hour(rng), minutes), other


def several_hops_plan(kind: str, seed: int, minutes: Minutes) -> Plan:
    """Two or three hops of sporadic E."""
    rng = dice(kind, seed)
    home, target = _home_and_target(
        seed, rng, lambda paths, dice: skies.populous_target(paths, 2700.0, 6500.0, dice)
    )
    return _timed(kind, seed, rng, home, target, es_months(home.place[0]), es_hour(rng), minutes)


def f2_plan(kind: str, seed: int, minutes: Minutes, nearest_km: float = 2900.0) -> Plan:
    """One hop or two of F2, in the winter half-year of the first reflection, near noon there.

    Never across the dip equator, where nature would not tell it from the transequatorial path either.
    """
    ranges = [each for each in ((2900.0, 3900.0), (5900.0, 7700.0)) if each[0] >= nearest_km]

    def choose(paths: tuple[HomePath, ...], dice: random.Random) -> HomePath | None:
        target = skies.populous_target(paths, *dice.choice(ranges), dice)
        return None if target is None or skies.crosses_equator(target) else target

    rng = dice(kind, seed)
    home, target = _home_and_target(seed, rng, choose)
    months = (10, 11, 12, 1, 2, 3) if _middle(target)[0] >= 0.0 else (4, 5, 9, 10, 11)
    return _timed(kind, seed, rng, home, target, months, rng.uniform(10.5, 14.0), minutes)


def transequatorial_plan(kind: str, seed: int, minutes: Minutes) -> tuple[Plan, bool]:
    """Across the dip equator at an equinox; True for the evening type, False for the afternoon type."""
    rng = dice(kind, seed)
    is_evening = rng.random() < 0.5
    home, target = _home_and_target(
        seed, rng, lambda paths, dice: skies.transequatorial_target(paths, is_evening, dice)
    )
    hour = rng.uniform(19.0, 21.0) if is_evening else rng.uniform(14.0, 16.5)
    return _timed(kind, seed, rng, home, target, (3, 4, 9, 10), hour, minutes), is_evening


def at_home_plan(
    kind: str,
    seed: int,
    homes: tuple[Home, ...],
    months: tuple[int, ...],
    local_hour: float,
    minutes: Minutes,
) -> Plan:
    """What comes from all round at one of a few homes; the target is any neighbour."""
    rng = dice(kind, seed)
    home = rng.choice(homes)
    began_s = moment(rng, months, local_hour, home.place[1])
    target = paths_from(home, seed)[0]
    return Plan(kind, seed, rng, home, target, began_s, began_s + rng.uniform(*minutes) * 60.0)


def dice(kind: str, seed: int) -> random.Random:
    """The random numbers of a plan, apart from those of its scene."""
    return random.Random(f"plan {kind} {seed}")


def _home_and_target(
    seed: int,
    rng: random.Random,
    choose: Callable[[tuple[HomePath, ...], random.Random], HomePath | None],
) -> tuple[Home, HomePath]:
    """The first of random homes for which ``choose`` finds a target; some homes see only sea."""
    while True:
        home = any_home(rng)
        target = choose(paths_from(home, seed), rng)
        if target is not None:
            return home, target


def _es_target(paths: tuple[HomePath, ...], rng: random.Random) -> HomePath | None:
    span = _COMMONEST_KM if rng.random() < 0.5 else _NEARER_KM
    return skies.populous_target(paths, *span, rng)


def _elsewhere(
    paths: tuple[HomePath, ...], home: Home, target: HomePath, rng: random.Random
) -> HomePath | None:
    first = true_path(home.place, target.station).bearing_deg
    for _ in range(10):
        other = skies.populous_target(paths, 950.0, 2200.0, rng)
        if other is None:
            return None
        if angle_between_deg(first, true_path(home.place, other.station).bearing_deg) >= 50.0:
            return other
    return None


def _timed(
    kind: str,
    seed: int,
    rng: random.Random,
    home: Home,
    target: HomePath,
    months: tuple[int, ...],
    local_hour: float,
    minutes: Minutes,
) -> Plan:
    began_s = moment(rng, months, local_hour, _middle(target)[1])
    return Plan(kind, seed, rng, home, target, began_s, began_s + rng.uniform(*minutes) * 60.0)


def _middle(target: HomePath) -> tuple[float, float]:
    return place_of(target.reflection(0, 1))
