"""A watch with its diary, fed a rehearsed day, stopped or killed and begun again wherever a test asks."""

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import Any

from sentinel.band_diary import Place
from sentinel.diary_output import DiaryOutput
from sentinel.event_clock import EventClock
from sentinel.live_watch import LiveWatch
from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_prune import PruneRule
from sentinel.outputs.diary_queries import reading
from sentinel.outputs.notices import Notices
from sentinel.rehearsal.heard import Heard, Scenario
from sentinel.restart import starting_time_s
from sentinel.watch.changes import Change, OpeningChanged, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.settings import ReceiverSettings, WatchSettings

BAND = "6m"
COLUMNS = {
    "sighting": "at_ms, call, locator, distance_km, bearing_deg, snr_db, audio_hz, trust",
    "state_change": "at_ms, state, blind_reason",
    "downtime": "since_ms, until_ms",
    "opening": "*",
    "notable": "what, station, opening_id",
    "station": "*",
    "heard_day": "*",
    "first_heard": "*",
}
WRITE_EVERY_S = 60.0


def watch_settings(scenario: Scenario) -> WatchSettings:
    """The core's settings for a scenario's home and receiver."""
    given = scenario.settings
    receiver = ReceiverSettings(
        frozenset(given.canaries), given.canary_silence_min * 60.0, given.line_silence_min * 60.0
    )
    return WatchSettings(scenario.home.locator, BAND, own_call=given.callsign or None, receiver=receiver)


def decode_of(line: Heard) -> Decode:
    return Decode(
        float(line.at_s), line.message, float(line.snr_db), line.dt_s, float(line.audio_hz), mode=line.mode
    )


def rows_of(diary: Path) -> dict[str, list[tuple[Any, ...]]]:
    """What the diary remembers of the band, in an order that does not hang on that of writing."""
    with reading(diary) as connection:
        return {
            table: sorted(connection.execute(f"SELECT {columns} FROM {table}"), key=repr)
            for table, columns in COLUMNS.items()
        }


class Station:
    """What the daemon's loop does, without threads: the card, the lines, and what people are told."""

    def __init__(self, scenario: Scenario, folder: Path) -> None:
        self.scenario = scenario
        self.path = folder / "diary.sqlite"
        self.settings = watch_settings(scenario)
        self.lines = [decode_of(line) for line in scenario.heard]
        self.read = 0
        self.told: list[tuple[Any, ...]] = []
        self.states: list[tuple[float, str, str | None]] = []
        self._card = Diary(self.path)
        self.begin(scenario.began_s)

    def begin(self, wall_s: float) -> None:
        """A start at a wall clock time, from what the diary holds."""
        self._card.close()  # the end of a process closes its files; what was not written is lost
        self._card = Diary(self.path)
        self._writer = DiaryOutput(self._card, [BAND], PruneRule())
        self._diary = self._writer.bands[BAND]
        back = self._diary.recall()
        self._clock = EventClock(starting_time_s(back.memory, wall_s, False), wall_s)
        self.live = LiveWatch(self.settings, self._clock, back.memory)
        self._notices = Notices.from_json(back.notes.get("notices"), back.memory.live_openings)
        self.read = int(back.checkpoints.get("log", "0"))
        self._backlog_until = sum(line.at_s <= wall_s for line in self.lines)
        self._changes: list[Change] = []
        self._wall_s, self._written_s = wall_s, wall_s
        if self.live.has_verdict:
            self._diary.follow(self.live.bulletin(), self.live.heard_lately())

    def watch(self, until_s: float) -> None:
        """Read the lines up to a time, slot by slot, and let time pass up to it."""
        coming = [line for line in self.lines[self.read :] if line.at_s <= until_s]
        for at_s, slot in groupby(coming, key=lambda line: line.at_s):
            if self.live.has_verdict or at_s < self.live.now_s:
                self._happened(self.live.settle())
            for line in slot:
                is_live = self.read >= self._backlog_until
                self._happened(self.live.feed(line, is_live, max(self._wall_s, at_s)))
                self.read += 1
            self._happened(self.live.settle())
            self._keep(at_s)
        self._happened(self.live.let_pass(until_s))
        self._keep(until_s)

    def stop(self) -> None:
        """As SIGTERM does."""
        self._writer.write()
        self._card.close()

    def rows(self) -> dict[str, list[tuple[Any, ...]]]:
        return rows_of(self.path)

    def _happened(self, changes: Sequence[Change]) -> None:
        if not changes:
            return
        self._changes += changes
        for change in changes:
            if isinstance(change, StateChanged):
                previous = change.bulletin.previous
                self.states.append((change.at_s, change.bulletin.state.value, previous and previous.value))
        for change in self._notices.tell(changes, self.live.bulletin(), is_wanted=True):
            if isinstance(change, OpeningChanged):
                self.told.append((change.opening.id, change.phase.value))

    def _keep(self, at_s: float) -> None:
        if not self.live.has_verdict:
            return
        notes = {
            "watch": self.live.standing(max(self._wall_s, at_s), max(self._wall_s, at_s)).as_json(),
            "notices": self._notices.as_json(),
        }
        place = Place(self.live.recent.take_lines(), {"log": str(self.read)}, notes, self.live.learned)
        changes, self._changes = self._changes, []
        self._diary.note(
            self.live.bulletin(), self.live.heard_lately(), changes, place, self.live.take_struck()
        )
        if at_s - self._written_s >= WRITE_EVERY_S:
            self._written_s = at_s
            self._writer.write()
