"""Evenings with an opening, and the regulars that are none once they are known."""

import random

from sentinel.rehearsal import skies
from sentinel.rehearsal.clouds import Swell
from sentinel.rehearsal.exchanges import Style
from sentinel.rehearsal.heard import Scenario
from sentinel.rehearsal.homes import by_name
from sentinel.rehearsal.openings import Ground
from sentinel.rehearsal.paths import Mechanism, home_paths
from sentinel.rehearsal.plans import (
    DAY_S,
    HOUR_S,
    Plan,
    at_home_plan,
    f2_plan,
    several_hops_plan,
    sporadic_e_plan,
    transequatorial_plan,
    two_way_plan,
)
from sentinel.rehearsal.population import Station
from sentinel.rehearsal.scene import Scene

# The watch may take three days to learn who is always there.
_LEARNING_DAYS = 3
_REGULAR_DAYS = 5


def sporadic_e(kind: str, seed: int) -> Scenario:
    """One sporadic E opening of 20 to 150 minutes."""
    return _with_sporadic_e(sporadic_e_plan(kind, seed, (20.0, 150.0)))


def short(kind: str, seed: int) -> Scenario:
    """Four to six minutes, and gone."""
    return _with_sporadic_e(sporadic_e_plan(kind, seed, (5.0, 7.5)))


def fading(kind: str, seed: int) -> Scenario:
    """Deep fades of 4 to 7 minutes in which nothing at all comes through."""
    plan = sporadic_e_plan(kind, seed, (50.0, 120.0))
    gaps = []
    at_s = plan.began_s + plan.rng.uniform(900.0, 1300.0)
    while at_s < plan.ended_s - 1200.0:
        gap_s = plan.rng.uniform(240.0, 400.0)
        gaps.append((at_s, at_s + gap_s))
        at_s += gap_s + plan.rng.uniform(600.0, 1400.0)
    scene = plan.scene()
    cloud = skies.sporadic_e("es-a", plan.target, plan.began_s, plan.ended_s, plan.rng, tuple(gaps))
    scene.add_opening(cloud, 0.6)
    return scene.finish()


def two_at_once(kind: str, seed: int) -> Scenario:
    """Two groups of clouds at once, at least 50 degrees apart."""
    plan, other = two_way_plan(kind, seed, (40.0, 110.0))
    scene, rng = plan.scene(), plan.rng
    second_s = plan.began_s + rng.uniform(0.0, 0.4) * (plan.ended_s - plan.began_s)
    first = skies.sporadic_e("es-a", plan.target, plan.began_s, plan.ended_s, rng)
    second = skies.sporadic_e("es-b", other, second_s, plan.ended_s, rng)
    scene.add_opening(first, 0.4, most=40)
    scene.add_opening(second, 0.4, most=40)
    return scene.finish()


def several_hops(kind: str, seed: int) -> Scenario:
    """Sporadic E in two or three hops, with the one-hop stations that live along the way."""
    plan = several_hops_plan(kind, seed, (25.0, 100.0))
    hops = 2 if plan.target.arc_km < 4500.0 else 3
    scene = plan.scene()
    cloud = skies.sporadic_e("es-a", plan.target, plan.began_s, plan.ended_s, plan.rng, hops=hops)
    scene.add_opening(cloud, 0.5)
    return scene.finish()


def in_contest(kind: str, seed: int) -> Scenario:
    """Sporadic E while the neighbours hold a contest."""
    plan = sporadic_e_plan(kind, seed, (25.0, 90.0))
    scene = plan.scene()
    scene.add_locals(20, 0.7, Style.LOCATOR_CONTEST, reach_km=300.0)
    return _with_sporadic_e(plan, scene)


def in_flood(kind: str, seed: int) -> Scenario:
    """Sporadic E in a flood of false decodes, which must neither stretch it nor turn it."""
    plan = sporadic_e_plan(kind, seed, (25.0, 90.0))
    scene = plan.scene()
    scene.add_false_decodes(plan.rng.uniform(30.0, 120.0))
    return _with_sporadic_e(plan, scene)


def few_with_ghosts(kind: str, seed: int) -> Scenario:
    """Three to six stations only, and meanwhile false decodes that look like true ones from elsewhere."""
    plan = sporadic_e_plan(kind, seed, (25.0, 90.0))
    scene, rng = plan.scene(), plan.rng
    scene.add_ghosts(rng.randint(1, 3), plan.began_s, plan.ended_s)
    cloud = skies.sporadic_e("es-a", plan.target, plan.began_s, plan.ended_s, rng)
    scene.add_opening(cloud, 1.0, most=rng.randint(3, 6))
    return scene.finish()


def f2(kind: str, seed: int) -> Scenario:
    """F2 in the winter half-year, the midpoint near noon: nothing nearer than 2,600 km."""
    plan = f2_plan(kind, seed, (25.0, 120.0))
    scene = plan.scene()
    scene.add_opening(skies.f2("f2-a", plan.target, plan.began_s, plan.ended_s, plan.rng), 0.5)
    return scene.finish()


def transequatorial(kind: str, seed: int) -> Scenario:
    """Across the dip equator, by the afternoon or the evening type, at an equinox."""
    plan, is_evening = transequatorial_plan(kind, seed, (25.0, 110.0))
    scene = plan.scene()
    duct = skies.transequatorial("tep-a", plan.target, is_evening, plan.began_s, plan.ended_s)
    scene.add_opening(duct, 0.8)
    return scene.finish()


def far_alone(kind: str, seed: int) -> Scenario:
    """One station beyond 4,000 km and nobody else, calling for half an hour or more."""
    if seed % 2:
        plan, is_evening = transequatorial_plan(kind, seed, (25.0, 110.0))
        scene = plan.scene()
        _hear_one(scene, skies.transequatorial("alone", plan.target, is_evening, plan.began_s, plan.ended_s))
    else:
        plan = f2_plan(kind, seed, (25.0, 120.0), nearest_km=5600.0)
        scene = plan.scene()
        _hear_one(scene, skies.f2("alone", plan.target, plan.began_s, plan.ended_s, plan.rng))
    return scene.finish()


def tropo(kind: str, seed: int) -> Scenario:
    """An enhanced night: stations of 300 to 800 km, slowly, for hours."""
    homes = tuple(by_name(name) for name in ("Boston", "Munich", "Leeds", "Tokyo", "Lyon"))
    plan = at_home_plan(kind, seed, homes, tuple(range(5, 11)), 22.0, (150.0, 300.0))
    scene = plan.scene()
    scene.paths = tuple(path for path in scene.paths if path.arc_km > 400.0)
    scene.add_opening(skies.tropo("tropo-a", plan.began_s, plan.ended_s, plan.rng), 0.2, most=25)
    return scene.finish()


def aurora(kind: str, seed: int) -> Scenario:
    """Aurora: weak fluttering signals from all round whose scatterer stands poleward."""
    homes = tuple(by_name(name) for name in ("Halifax", "Helsinki", "Leeds", "Boston"))
    plan = at_home_plan(kind, seed, homes, (3, 4, 9, 10), 18.0, (60.0, 180.0))
    scene = plan.scene()
    curtain = skies.aurora("aurora-a", scene.paths, plan.began_s, plan.ended_s, plan.rng)
    scene.add_opening(curtain, 0.12, most=20)
    return scene.finish()


def regulars(kind: str, seed: int) -> Scenario:
    """A big station at 500-640 km every day, two more at times, a beacon always; then a true opening.

    After three days of learning the same stations must make no opening. On the last day sporadic E comes from
    elsewhere and must be found.
    """
    plan = sporadic_e_plan(kind, seed, (35.0, 60.0))
    rng = plan.rng
    began_s = plan.began_s - (_REGULAR_DAYS - 0.5) * DAY_S
    scene = Scene(kind, seed, plan.home, began_s, began_s + _REGULAR_DAYS * DAY_S)
    scene.add_neighbours(5, activity=0.3)
    beacon, daily, *others = scene.around(500.0, 640.0, 4)
    scene.add_beacon(beacon, 8, rng.uniform(-16.0, -8.0))
    for day in range(_REGULAR_DAYS):
        for station in (daily, *others):
            if station is daily or rng.random() < 0.4:
                _add_regular(scene, station, began_s + day * DAY_S, rng)
    scene.add_false_decodes(2.0)
    learned_s = began_s + _LEARNING_DAYS * DAY_S
    return _with_sporadic_e(plan, scene, [(learned_s, plan.began_s - 60.0)])


def _with_sporadic_e(
    plan: Plan, scene: Scene | None = None, must_not_open: list[tuple[float, float]] | None = None
) -> Scenario:
    scene = scene or plan.scene()
    cloud = skies.sporadic_e("es-a", plan.target, plan.began_s, plan.ended_s, plan.rng)
    scene.add_opening(cloud, plan.rng.uniform(0.05, 0.6))
    return scene.finish(must_not_open or [])


def _hear_one(scene: Scene, mechanism: Mechanism) -> None:
    scene.paths = tuple(path for path in scene.paths if path.arc_km > 4050.0)
    scene.add_opening(mechanism, active=0.0, fewest=1)


def _add_regular(scene: Scene, station: Station, day_s: float, rng: random.Random) -> None:
    began_s = day_s + rng.uniform(0.0, 16.0) * HOUR_S
    ended_s = began_s + rng.uniform(2.0, 7.0) * HOUR_S
    lift = Ground("regular", Swell(began_s, ended_s, HOUR_S, HOUR_S), 0.14, began_s=began_s, ended_s=ended_s)
    scene.add_regular(home_paths([station], scene.home.place)[0], lift)
