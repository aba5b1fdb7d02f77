"""Days on which the receiver or the decoder fails, which must never look like a quiet band."""

from sentinel.rehearsal.heard import Scenario, Settings
from sentinel.rehearsal.plans import HOUR_S, whole_days

_OUTAGE_H = (1.0, 3.0)
_BEFORE_H = (2.0, 6.0)


def stall(kind: str, seed: int) -> Scenario:
    """The decoder stops printing for an hour or more, then goes on."""
    scene, rng = whole_days(kind, seed, days=0.5)
    scene.settings = Settings(scene.home.call, line_silence_min=rng.choice((5, 10, 20)))
    beacon = scene.around(20.0, 60.0, 1)[0]
    scene.add_beacon(beacon, 2, 5.0)
    scene.add_locals(4, activity=0.2)
    began_s = scene.began_s + rng.uniform(*_BEFORE_H) * HOUR_S
    scene.add_stall(began_s, began_s + rng.uniform(*_OUTAGE_H) * HOUR_S)
    return scene.finish(must_not_open=[(scene.began_s, scene.ended_s)])


def silent_canary(kind: str, seed: int) -> Scenario:
    """The receiver goes deaf: only false decodes go on, canary and locals are gone; then it hears again."""
    scene, rng = whole_days(kind, seed, days=0.5)
    canary = scene.around(20.0, 60.0, 1)[0]
    scene.settings = Settings(scene.home.call, (canary.call,), rng.choice((15, 20, 30)))
    scene.add_beacon(canary, 8, 0.0)
    scene.add_locals(4, activity=0.2)
    began_s = scene.began_s + rng.uniform(*_BEFORE_H) * HOUR_S
    scene.add_deafness(began_s, began_s + rng.uniform(*_OUTAGE_H) * HOUR_S, canary.call)
    scene.add_false_decodes(20.0)
    return scene.finish(must_not_open=[(scene.began_s, scene.ended_s)])


def drifting_clock(kind: str, seed: int) -> Scenario:
    """The computer's clock runs away by a second or more an hour, until most signals miss the decoder."""
    scene, rng = whole_days(kind, seed, days=0.25)
    scene.clock_drift_s_per_h = rng.choice((-1.0, 1.0)) * rng.uniform(0.5, 1.5)
    scene.add_locals(6, activity=0.5)
    scene.add_false_decodes(3.0)
    return scene.finish(must_not_open=[(scene.began_s, scene.ended_s)])
