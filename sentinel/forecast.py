"""The outlook as daemon and command use it: space weather, the diary's record and the season joined.

The diary is read and the curves are drawn in a thread of their own, since years of record take a moment on a
small machine; the daemon only takes the latest result.
"""

import sqlite3
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sentinel.config import Config
from sentinel.intake.space_weather_report import SpaceWeatherReport
from sentinel.outputs.diary import DiaryUnavailable
from sentinel.outputs.diary_queries import OpeningFilter, openings, reading
from sentinel.outputs.diary_record import RecordReader
from sentinel.watch.bulletin import Bulletin, Chance, Mode, Opening, Part
from sentinel.watch.mode import SpaceWeather
from sentinel.watch.outlook import Outlook
from sentinel.watch.record import Record
from sentinel.worker import LatestWorker

if TYPE_CHECKING:  # it loads the library for http, which few need
    from sentinel.intake.space_weather_source import SpaceWeatherSource

REFRESH_S = 600.0
"""The chances move with the hours; ten minutes is as often as anyone looks."""


def diary_path(config: Config, state_dir: Path) -> Path:
    """Where the diary is: the configuration's path, else in the state directory."""
    given = config.diary.path
    return state_dir / "diary.sqlite" if given is None else config.resolve(given)


def space_weather_source(
    config: Config, cache_dir: Path, then_s: float | None = None
) -> "SpaceWeatherSource | None":
    """The source of [space_weather], None without that table. As of ``then_s`` only its file is looked at:
    an address knows the present alone."""
    section = config.space_weather
    if section is None:
        return None
    from sentinel.intake.space_weather_source import SpaceWeatherPlaces, SpaceWeatherSource

    file = None if section.file is None else config.resolve(section.file)
    places = SpaceWeatherPlaces(section.urls if then_s is None else (), file)
    now = time.time if then_s is None else lambda: then_s
    return SpaceWeatherSource(places, cache_dir, 60.0 * section.every_min, now=now)


def record_at(path: Path, reader: RecordReader, now_s: float) -> Record | None:
    """The diary's record of the reader's band as of ``now_s``, None where no diary can be read."""
    try:
        with reading(path) as connection:
            return reader.read(connection, now_s)
    except (DiaryUnavailable, sqlite3.Error):
        return None


def live_openings_at(path: Path, band: str, since_s: float, until_s: float) -> tuple[Opening, ...]:
    """Openings of a band that the diary holds live between two times; none where no diary can be read."""
    try:
        with reading(path) as connection:
            rows = openings(connection, OpeningFilter(since_s=since_s, until_s=until_s, band=band))
    except (DiaryUnavailable, sqlite3.Error):
        return ()
    return tuple(row.opening for row in rows if row.opening.ended_at_s is None)


@dataclass(frozen=True, slots=True)
class _Question:
    at_s: float
    open_now: frozenset[Mode]
    weather: SpaceWeather


class Forecast:
    """The daemon's outlook on one band: ``start``, ``ask`` at every tick, ``chances`` for the bulletin."""

    def __init__(self, config: Config, state_dir: Path) -> None:
        self._outlook = Outlook(config.station.locator, config.watch_settings().low_mhz)
        self._reader = RecordReader(config.band.name)
        self._diary = diary_path(config, state_dir)
        self._source = space_weather_source(config, state_dir)
        self._worker: LatestWorker[_Question] = LatestWorker("outlook", self._answer)
        self._asked: _Question | None = None
        self._chances: tuple[Chance, ...] = ()

    @property
    def chances(self) -> tuple[Chance, ...]:
        """The latest outlook, empty until the first has been worked out."""
        return self._chances

    def start(self) -> None:
        """Look at space weather now and then from now on."""
        if self._source is not None:
            self._source.start()

    def look(self) -> None:
        """Look at space weather once and wait for the answer, instead of in the thread."""
        if self._source is not None:
            self._source.look()

    def report(self) -> SpaceWeatherReport:
        """What is known of space weather, old or not."""
        return self._source.report if self._source is not None else SpaceWeatherReport()

    def weather(self, wall_s: float) -> SpaceWeather:
        """What the core is to be fed: what is still good by the wall clock."""
        return self.report().as_of(wall_s)

    def ask(self, bulletin: Bulletin, wall_s: float) -> bool:
        """Have the outlook worked out anew if it has grown old or something has changed; True if so."""
        modes = frozenset(opening.mode for opening in bulletin.openings if opening.ended_at_s is None)
        question = _Question(bulletin.at_s, modes, self.weather(wall_s))
        if self._asked is not None and not _is_due(self._asked, question):
            return False
        self._asked = question
        self._worker.put(question)
        return True

    def parts(self) -> tuple[Part, ...]:
        """How the outlook is, and its source of space weather where there is one."""
        source = (self._source.part(),) if self._source is not None else ()
        return (self._worker.part(), *source)

    def stop(self) -> None:
        """End both threads; what was asked is answered first."""
        if self._source is not None:
            self._source.stop()
        self._worker.stop()

    def _answer(self, question: _Question) -> None:
        record = record_at(self._diary, self._reader, question.at_s)
        self._chances = self._outlook.chances(question.at_s, question.weather, record, question.open_now)


def _is_due(asked: _Question, now: _Question) -> bool:
    is_old = not 0.0 <= now.at_s - asked.at_s < REFRESH_S
    return is_old or (asked.open_now, asked.weather) != (now.open_now, now.weather)
