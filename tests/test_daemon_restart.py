"""Over a restart nothing is lost and nothing is told twice: the history is that of an uninterrupted watch."""

import random
import signal
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from broker import RealBroker
from faults.evening import Slot, lost_and_doubled
from interrupted import Station, rows_of
from nights import CONFIG, LOCAL, SOUTH_WEST, Heard, calling, seconds
from running import PATIENCE_S, Daemon, Subscriber, daemon, decoder, eventually

from sentinel.config import load
from sentinel.daemon import Daemon as InProcess
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
    theirs, ours = broken.rows(), whole.rows()
    assert theirs == ours


@pytest.mark.parametrize("kind", ("es", "es-two"))
def test_the_diary_holds_every_opening_that_was_told_with_its_end(kind: str, tmp_path: Path) -> None:
    station = uninterrupted(kind, 3, tmp_path)
    with reading(station.path) as connection:
        kept = {row.opening.id: row.opening.ended_at_s for row in openings(connection)}
    assert kept.keys() == {id for id, _ in station.told}
    assert {id for id, ended_s in kept.items() if ended_s} == {
        i for i, what in station.told if what == "ended"
    }


# --- the real process, killed -------------------------------------------------------------------------------

START_S = seconds("2026-06-14T20:00:00")


def at(minutes: float) -> float:
    return START_S + 60.0 * minutes


def opening_night() -> list[Heard]:
    """Locals all the time; an opening from the 20th to the 32nd minute, with more stations as it goes on."""
    heard = [*calling(LOCAL, START_S, at(60))]
    for number, station in enumerate(SOUTH_WEST):
        heard += calling(station, at(20) + 15.0 * (number % 2) + 120.0 * (number // 3), at(32))
    return sorted(heard)


def part(heard: list[Heard], since_min: float, until_min: float) -> list[Heard]:
    return [one for one in heard if at(since_min) <= one.at_s < at(until_min)]


@pytest.mark.parametrize("last_step", ["_take_lines", "_settle"], ids=["was read", "was settled"])
def test_a_stop_right_after_a_backlog_keeps_the_sightings_of_its_last_slot(
    last_step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    slots = 20
    (tmp_path / "decodes.log").write_bytes(b"".join(Slot(number).text() for number in range(slots)))
    (tmp_path / "sentinel.toml").write_text(CONFIG, "utf-8")
    watching = InProcess(load(tmp_path / "sentinel.toml"), tmp_path)
    step = getattr(watching, last_step)

    def step_and_stop(*given: Any) -> Any:
        watching.stop()
        return step(*given)

    monkeypatch.setattr(watching, last_step, step_and_stop)
    watching.run()
    assert lost_and_doubled(slots, tmp_path / "diary.sqlite") == (0, 0)


def kill(running: Daemon) -> None:
    running.process.kill()
    running.process.wait(PATIENCE_S)


def states_on_the_card(running: Daemon) -> list[str]:
    return [str(row[1]) for row in rows_of(running.state / "diary.sqlite")["state_change"]]


def test_the_process_killed_in_an_opening_goes_on_as_if_nothing_had_happened(tmp_path: Path) -> None:
    """Killed while lines are not on the card yet; more come while it is down, the rest when it is back."""
    heard = opening_night()
    histories = []
    for name, is_killed in (("whole", False), ("killed", True)):
        folder = tmp_path / name
        folder.mkdir()
        log = folder / "decodes.log"
        log.touch()
        with RealBroker(folder) as broker, Subscriber(broker) as subscriber, decoder(log) as band:
            with daemon(folder, broker.port) as running:
                subscriber.wait_for_state("quiet", running.log)
                band.hears(part(heard, 0, 24))
                subscriber.wait_for_state("open", running.log)
                eventually(lambda run=running: "open" in states_on_the_card(run), "open in the diary")
                if is_killed:
                    kill(running)
                band.hears(part(heard, 24, 26))
                if not is_killed:
                    band.hears(part(heard, 26, 60))
                    subscriber.wait_for_state("quiet", running.log)
                    running.stop(signal.SIGTERM)
            if is_killed:
                with daemon(folder, broker.port) as running:
                    running.says("open: ")
                    band.hears(part(heard, 26, 60))
                    subscriber.wait_for_state("quiet", running.log)
                    running.stop(signal.SIGTERM)
            eventually(lambda found=subscriber: len(found.messages("/6m/event")) >= 2, "two events")
            events = {(event["id"], event["event_type"]) for event in subscriber.messages("/6m/event")}
            histories.append((events, rows_of(running.state / "diary.sqlite")))
    (events, rows), (events_killed, rows_killed) = histories
    assert events_killed == events
    for table in ("state_change", "sighting", "opening", "station", "heard_day", "first_heard"):
        assert rows_killed[table] == rows[table], table
    assert rows["downtime"] == []
    ((since_ms, until_ms),) = rows_killed["downtime"]
    assert at(20) <= since_ms / 1000 < until_ms / 1000 <= at(26) + PATIENCE_S
