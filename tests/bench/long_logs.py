"""Two long logs of the invented band: a realistic one, and the most crowded that six metres can be.

    python tests/bench/long_logs.py --lines 1000000 --into DIRECTORY

``ordinary.log``: weeks at one home; neighbours come and go, pings, a few false decodes, and every third day
sporadic E for an hour or two. ``crowded.log``: an opening without end in which hundreds of stations call at
once, so that every slot is full. Both are deterministic; making a million lines takes a minute or two.
"""

import argparse
import random
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from sentinel.rehearsal import skies
from sentinel.rehearsal.heard import Heard
from sentinel.rehearsal.homes import FN84
from sentinel.rehearsal.logs import PLAIN, render
from sentinel.rehearsal.scene import Scene

START_S = datetime(2026, 6, 1, tzinfo=UTC).timestamp()
DAY_S, HOUR_S = 86400.0, 3600.0
CROWD = 400
"""Stations at once. A slot holds some 50 signals beside each other in 3 kHz, each 50 Hz wide."""
CONFIG = f"""\
[station]
locator = "{FN84.locator}"
callsign = "{FN84.call}"
[[source]]
path = "decodes.log"
layout = "{PLAIN.replace(":02d", "")}"
"""


def ordinary_day(number: int) -> tuple[Heard, ...]:
    """One day at home: eight to thirty neighbours, every third day an opening."""
    rng = random.Random(f"ordinary {number}")
    began_s = START_S + number * DAY_S
    scene = Scene("ordinary", number, FN84, began_s, began_s + DAY_S)
    scene.add_neighbours(rng.randint(4, 10), activity=0.3)
    hours = began_s + 12 * HOUR_S, began_s + 23 * HOUR_S
    scene.add_locals(rng.randint(4, 20), activity=0.8, hours=hours)
    scene.add_pings(2.0)
    scene.add_false_decodes(4.0)
    if number % 3 == 0:
        opens_s = began_s + rng.uniform(13.0, 20.0) * HOUR_S
        _add_opening(scene, rng, opens_s, opens_s + rng.uniform(1.0, 2.0) * HOUR_S, 0.5, 60)
    return scene.finish().heard


def crowded_hours(number: int) -> tuple[Heard, ...]:
    """Six hours of a band that is open in three directions at once."""
    rng = random.Random(f"crowded {number}")
    began_s = START_S + number * 6 * HOUR_S
    scene = Scene("crowded", number, FN84, began_s, began_s + 6 * HOUR_S)
    scene.add_locals(12, activity=0.8)
    scene.add_false_decodes(20.0)
    for _ in range(3):
        _add_opening(scene, rng, scene.began_s, scene.ended_s, 1.0, CROWD // 3)
    return scene.finish().heard


def _add_opening(
    scene: Scene, rng: random.Random, began_s: float, ended_s: float, active: float, most: int
) -> None:
    target = skies.populous_target(scene.paths, 950.0, 2200.0, rng)
    assert target is not None, "nobody lives within one hop of home"
    scene.add_opening(skies.sporadic_e("es", target, began_s, ended_s, rng), active, most)


def write(path: Path, stretches: Iterator[tuple[Heard, ...]], lines: int) -> None:
    """Write so many lines of the stretches that follow each other."""
    with path.open("w", encoding="utf-8") as file:
        while lines > 0:
            heard = next(stretches)[:lines]
            file.writelines(render(PLAIN, line) + "\n" for line in heard)
            lines -= len(heard)


def make(folder: Path, lines: int) -> tuple[Path, Path, Path]:
    """The configuration and both logs in ``folder``, made unless they are there."""
    config, ordinary, crowded = (folder / name for name in ("long.toml", "ordinary.log", "crowded.log"))
    config.write_text(CONFIG, "utf-8")
    for path, stretch in ((ordinary, ordinary_day), (crowded, crowded_hours)):
        if not path.exists():
            write(path, map(stretch, range(10**6)), lines)
    return config, ordinary, crowded


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--lines", type=int, default=1_000_000)
    parser.add_argument("--into", type=Path, required=True)
    given = parser.parse_args()
    given.into.mkdir(parents=True, exist_ok=True)
    print(*make(given.into, given.lines), sep="\n")
