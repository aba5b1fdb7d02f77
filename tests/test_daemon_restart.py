"""Over a restart nothing is lost and nothing is told twice: the history is that of an uninterrupted watch."""

import random
from functools import cache
from pathlib import Path

import pytest
from interrupted import Station

from sentinel.outputs.diary_queries import openings, reading
from sentinel.rehearsal.heard import Scenario
from sentinel.rehearsal.kinds import build

KINDS = ("es", "es-short", "es-two", "far-alone", "silent-canary")


@cache
def scenario(kind: str, seed: int) -> Scenario:
    return build(kind, seed)


def uninterrupted(kind: str, seed: int, folder: Path) -> Station:
    station = Station(scenario(kind, seed), folder)
    station.watch(station.scenario.ended_s)
    station.stop()
    return station


def cuts(kind: str, seed: int, count: int) -> list[float]:
    """Moments of a scenario, most of them while something is on."""
    played = scenario(kind, seed)
    dice = random.Random(f"cuts {kind} {seed}")
    moments = [line.at_s + dice.choice((0.0, 5.0, 200.0)) for line in dice.sample(list(played.heard), count)]
    return sorted(moment for moment in moments if moment < played.ended_s)


@pytest.mark.parametrize("is_killed", [False, True], ids=["stopped", "killed"])
@pytest.mark.parametrize("kind", KINDS)
def test_a_watch_that_was_interrupted_has_the_history_of_one_that_was_not(
    kind: str, is_killed: bool, tmp_path: Path
) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "other").mkdir()
    whole = uninterrupted(kind, 3, tmp_path / "one")
    broken = Station(scenario(kind, 3), tmp_path / "other")
    for moment in cuts(kind, 3, 4):
        broken.watch(moment)
        if not is_killed:
            broken.stop()
        broken.begin(moment)
    broken.watch(broken.scenario.ended_s)
    broken.stop()
    assert broken.told == whole.told
    assert broken.states == whole.states or is_killed
    assert broken.rows() == whole.rows()


@pytest.mark.parametrize("kind", ("es", "es-two"))
def test_the_diary_holds_every_opening_that_was_told_with_its_end(kind: str, tmp_path: Path) -> None:
    station = uninterrupted(kind, 3, tmp_path)
    with reading(station.path) as connection:
        kept = {row.opening.id: row.opening.ended_at_s for row in openings(connection)}
    assert kept.keys() == {id for id, _ in station.told}
    assert {id for id, ended_s in kept.items() if ended_s} == {
        i for i, what in station.told if what == "ended"
    }
