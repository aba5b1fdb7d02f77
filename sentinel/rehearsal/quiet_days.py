"""Days on which nothing opens, however much is printed."""

from sentinel.rehearsal import skies
from sentinel.rehearsal.exchanges import Style
from sentinel.rehearsal.heard import Scenario
from sentinel.rehearsal.plans import HOUR_S, sporadic_e_plan, whole_days
from sentinel.rehearsal.scene import Scene


def dead_band(kind: str, seed: int) -> Scenario:
    """A few locals, some pings, an aircraft or two, a few false decodes an hour."""
    scene, rng = whole_days(kind, seed)
    scene.add_neighbours(rng.randint(0, 8), activity=0.3)
    scene.add_pings(rng.uniform(0.2, 1.5))
    scene.add_aircraft(rng.randint(0, 3))
    scene.add_false_decodes(rng.uniform(1.0, 10.0))
    return _never_open(scene)


def meteor_night(kind: str, seed: int) -> Scenario:
    """A shower: 10 to 45 pings an hour, most of them before and after dawn."""
    scene, rng = whole_days(kind, seed)
    scene.add_neighbours(rng.randint(1, 8), activity=0.3)
    scene.add_pings(rng.uniform(10.0, 45.0))
    scene.add_false_decodes(rng.uniform(1.0, 6.0))
    return _never_open(scene)


def local_contest(kind: str, seed: int) -> Scenario:
    """Twenty and more neighbours within 300 km, all exchanging for hours, in one of the contest forms."""
    scene, rng = whole_days(kind, seed)
    style = rng.choice([each for each in Style if each is not Style.PLAIN])
    began_s = scene.began_s + rng.uniform(0.0, 14.0) * HOUR_S
    hours = began_s, began_s + rng.uniform(4.0, 10.0) * HOUR_S
    scene.add_locals(rng.randint(18, 35), 0.7, style, reach_km=300.0, hours=hours)
    scene.add_neighbours(3, activity=0.3)
    scene.add_pings(1.0)
    scene.add_false_decodes(rng.uniform(2.0, 15.0))
    return _never_open(scene)


def far_neighbours(kind: str, seed: int) -> Scenario:
    """Neighbours who work far stations all day that home does not hear at all."""
    scene, rng = whole_days(kind, seed)
    scene.add_locals(rng.randint(5, 14), activity=0.9, answered=0.9)
    scene.add_pings(1.0)
    scene.add_false_decodes(rng.uniform(1.0, 8.0))
    return _never_open(scene)


def rr73_traffic(kind: str, seed: int) -> Scenario:
    """Busy neighbours, every CQ answered: acknowledgements by the thousand that look like a locator."""
    scene, rng = whole_days(kind, seed)
    scene.add_locals(rng.randint(8, 18), activity=0.8, answered=1.0)
    scene.add_false_decodes(rng.uniform(1.0, 8.0))
    return _never_open(scene)


def false_flood(kind: str, seed: int) -> Scenario:
    """A wrong setting or interference: one to five false decodes a minute, for hours or all day."""
    scene, rng = whole_days(kind, seed)
    scene.add_locals(rng.randint(0, 6), activity=0.15)
    began_s = scene.began_s + rng.uniform(0.0, 6.0) * HOUR_S
    ended_s = min(scene.ended_s, began_s + rng.uniform(4.0, 24.0) * HOUR_S)
    scene.add_false_decodes(rng.uniform(60.0, 300.0), began_s, ended_s)
    scene.add_false_decodes(3.0)
    return _never_open(scene)


def aircraft_day(kind: str, seed: int) -> Scenario:
    """A flight corridor: dozens of passes over paths of 300-700 km, minutes each."""
    scene, rng = whole_days(kind, seed)
    scene.add_neighbours(rng.randint(1, 8), activity=0.3)
    scene.add_aircraft(rng.randint(10, 30))
    scene.add_pings(1.0)
    scene.add_false_decodes(4.0)
    return _never_open(scene)


def lone_station(kind: str, seed: int) -> Scenario:
    """One station, or two, by sporadic E for an hour: something, but not an opening."""
    plan = sporadic_e_plan(kind, seed, (20.0, 90.0))
    scene = plan.scene()
    scene.paths = tuple(path for path in scene.paths if path.arc_km < 2400.0)
    cloud = skies.sporadic_e("es-a", plan.target, plan.began_s, plan.ended_s, plan.rng)
    most = plan.rng.randint(1, 2)
    scene.add_opening(cloud, 0.0, most=most, fewest=most)
    return _never_open(scene)


def own_transmissions(kind: str, seed: int) -> Scenario:
    """Home itself calls and works far stations that are not heard; the decoder prints its own side."""
    scene, rng = whole_days(kind, seed, days=0.5)
    scene.add_locals(3, activity=0.2)
    partners = [path.station.call for path in rng.sample(scene.paths, 50)]
    scene.add_own_transmissions(partners, scene.began_s + 600.0, scene.ended_s - 600.0)
    scene.add_false_decodes(3.0)
    return _never_open(scene)


def _never_open(scene: Scene) -> Scenario:
    return scene.finish(must_not_open=[(scene.began_s, scene.ended_s)])
