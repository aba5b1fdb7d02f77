"""What the core cannot see and the daemon tells it: lost sources, the decoder's process, the clock, the sun,
and whom the operator has worked."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from sentinel.config import Config
from sentinel.forecast import Forecast
from sentinel.live_watch import LiveWatch
from sentinel.surroundings import Surroundings, clock_part
from sentinel.watch.bulletin import Bulletin, Chance, Part
from sentinel.watch.changes import Change
from sentinel.watch.receiver import CLOCK_WARN_S, FactKind

if TYPE_CHECKING:
    from sentinel.intake.adif_log import WorkedLog, WorkedLogFile

UNSYNCHRONISED_S = 600.0
"""A clock that nobody has set so long after the start, with nothing heard for as long, tells nothing."""


class Outside:
    """Looks from threads of its own; ``tell`` hands the core what has changed."""

    def __init__(self, config: Config, state_dir: Path) -> None:
        adif = config.log.adif
        self._logs: dict[str, WorkedLogFile] = {}
        if adif is not None:
            from sentinel.intake import adif_log

            self._logs = {
                band: adif_log.WorkedLogFile(config.resolve(adif), band) for band in config.band.names
            }
        self._surroundings = Surroundings(config.receiver.process, look_at_more=self._look_at_logs)
        self._surroundings.look()
        self._forecast = Forecast(config, state_dir)
        self._told: set[tuple[str, FactKind]] = set()
        self._worked: dict[str, WorkedLog] = {}

    def start(self) -> None:
        """Begin to look."""
        self._surroundings.start()
        self._forecast.start()

    def stop(self) -> None:
        self._forecast.stop()
        self._surroundings.stop()

    @property
    def is_clock_right(self) -> bool:
        """Nothing speaks against the wall clock."""
        return self._surroundings.is_clock_synchronised is not False

    def right_time_s(self) -> float | None:
        """The time of day, seconds since 1970, unless it is doubtful."""
        return time.time() if self.is_clock_right else None

    def chances(self) -> tuple[Chance, ...]:
        """The outlook."""
        return self._forecast.chances

    def ask(self, bulletin: Bulletin) -> None:
        """Let the outlook follow."""
        self._forecast.ask(bulletin, time.time())

    def tell(
        self, live: LiveWatch, source_trouble: str | None, at_s: float, running_s: float
    ) -> Iterator[Change]:
        """Tell the core of a band what has changed as of ``at_s`` (event time), ``running_s`` after the
        start."""
        facts = (
            (FactKind.SOURCE_GONE, source_trouble is not None, source_trouble or ""),
            (
                FactKind.DECODER_GONE,
                self._surroundings.is_decoder_running is False,
                "The decoder's process is not running.",
            ),
            (
                FactKind.CLOCK_UNSYNCHRONISED,
                not self.is_clock_right and _tells_nothing(live, at_s, running_s),
                "The clock has not been synchronised since the start.",
            ),
        )
        for kind, is_so, note in facts:
            fact = (live.settings.band, kind)
            if is_so != (fact in self._told):
                self._told ^= {fact}
                yield from live.tell(kind, is_so, note, at_s)
                yield from live.settle()
        live.learn_weather(self._forecast.weather(time.time()))
        self._tell_log(live)

    def _look_at_logs(self) -> None:
        for log in self._logs.values():
            log.look()

    def _tell_log(self, live: LiveWatch) -> None:
        band = live.settings.band
        worked = self._logs[band].worked if band in self._logs else None
        if worked is not None and worked is not self._worked.get(band):
            self._worked[band] = worked
            live.learn_log(worked.locators, worked.countries_worked, worked.squares_worked)

    def parts(self, live: LiveWatch) -> Iterator[Part]:
        """The clock, and what else is configured."""
        yield clock_part(self._surroundings.is_clock_synchronised, live.clock_error_s, CLOCK_WARN_S)
        yield from self._surroundings.decoder_parts()
        yield from self._forecast.parts()
        if live.settings.band in self._logs:
            yield self._logs[live.settings.band].part()


def _tells_nothing(live: LiveWatch, at_s: float, running_s: float) -> bool:
    """Nothing was heard for so long that a clock never set may be the reason."""
    heard_s = live.last_decode_at_s
    is_silent = heard_s is None or at_s - heard_s >= UNSYNCHRONISED_S
    return running_s >= UNSYNCHRONISED_S and is_silent
