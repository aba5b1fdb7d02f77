"""The evening behind ``sentinel demo``: an invented June evening near Halifax, Nova Scotia.

Quiet, with locals, a beacon and a false decode or two; a ping heard twice; a sporadic E opening to the
south-west from about the 19th to the 52nd minute; then nothing far for half an hour, so that every watch
is back at quiet before the end. At the default speed it passes in about 40 seconds.
"""

import random
from datetime import UTC, datetime

from sentinel.rehearsal import skies
from sentinel.rehearsal.heard import Scenario, Settings
from sentinel.rehearsal.homes import FN84
from sentinel.rehearsal.paths import HomePath, true_path
from sentinel.rehearsal.population import Station
from sentinel.rehearsal.scene import Scene

START_S = datetime(2026, 6, 20, 20, 45, tzinfo=UTC).timestamp()
LENGTH_S = 82 * 60
DEFAULT_SPEED = 130.0
LOCATOR, CALLSIGN, CANARY = FN84.locator, FN84.call, "VE1QBC"

_PING_S = 13 * 60
_OPENING_S = (17 * 60, 53 * 60)
# Between the Carolinas and Florida as seen from Nova Scotia.
_BEARINGS_DEG = (215.0, 245.0)
_DISTANCES_KM = (1300.0, 2100.0)


def evening(seed: int = 1, start_s: float = START_S) -> Scenario:
    """The same for the same seed and start; ``start_s`` is seconds since 1970, cut to a whole slot."""
    rng = random.Random(f"evening {seed}")
    scene = Scene("evening", seed, FN84, start_s, start_s + LENGTH_S)
    scene.settings = Settings(CALLSIGN, (CANARY,))
    scene.add_beacon(Station(CANARY, 44.66, -63.6, "FN84ep", 40.0, 0.0, 1240), 8, 1.0)
    scene.add_locals(5, activity=0.25)
    target = _target(scene, rng)
    began_s, ended_s = (scene.began_s + offset for offset in _OPENING_S)
    scene.add_opening(skies.sporadic_e("es-a", target, began_s, ended_s, rng), 0.5, most=36)
    scene.add_ping(_lone_path(scene, target, rng), scene.began_s + _PING_S, (-9.0, -15.0))
    scene.add_false_decodes(6.0)
    return scene.finish()


def _target(scene: Scene, rng: random.Random) -> HomePath:
    """A populous place in the right direction."""
    low, high = _BEARINGS_DEG
    paths = [
        path
        for path in scene.paths
        if _DISTANCES_KM[0] <= path.arc_km <= _DISTANCES_KM[1]
        and low <= true_path(FN84.place, path.station).bearing_deg <= high
    ]
    target = skies.populous_target(paths, *_DISTANCES_KM, rng)
    if target is None:
        raise LookupError("no populous place to the south-west: areas.csv has lost the United States")
    return target


def _lone_path(scene: Scene, target: HomePath, rng: random.Random) -> HomePath:
    """A station about as far as the opening will be, for the ping that comes before it."""
    within = [path for path in scene.paths if abs(path.arc_km - target.arc_km) < 200.0]
    return rng.choice(within)
