"""Where space weather comes from: a file, or public addresses asked now and then by a thread of its own.

Whatever goes wrong stays here: the last good report stands, with its age, and a failure is logged once.
"""

import logging
import random
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from sentinel.errors import RunError
from sentinel.intake.space_weather import LARGEST_BYTES, read_space_weather
from sentinel.intake.space_weather_cache import AnswerCache
from sentinel.intake.space_weather_report import FLUX_GOOD_S, KP_GOOD_S, Measured, SpaceWeatherReport
from sentinel.intake.web_fetch import TIMEOUT_S, fetch
from sentinel.watch.bulletin import Part

RETRY_S = 300.0
"""After a failure the source is asked again sooner than usual, at first; then less and less often."""
JITTER = 0.1
"""Thousands of these must not ask a public server in the same second."""
NAME = "space weather"

log = logging.getLogger("sentinel.space_weather")


@dataclass(frozen=True, slots=True)
class SpaceWeatherPlaces:
    """Where to look: ``urls`` (http or https), a ``file``, or both; each product adds what it knows."""

    urls: tuple[str, ...] = ()
    file: Path | None = None


class SpaceWeatherSource:
    """Looks every ``every_s`` seconds; ``report`` is what is known, ``trouble`` what is wrong, if anything.

    ``now`` is the wall clock: it dates the answers.
    """

    def __init__(
        self,
        places: SpaceWeatherPlaces,
        cache_dir: Path,
        every_s: float,
        *,
        now: Callable[[], float] = time.time,
        timeout_s: float = TIMEOUT_S,
    ) -> None:
        self._places = places
        self._cache = AnswerCache(cache_dir)
        self._every_s = every_s
        self._now = now
        self._timeout_s = timeout_s
        self._report = SpaceWeatherReport()
        self._trouble = ""
        self._failures = 0
        self._has_looked = False
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def report(self) -> SpaceWeatherReport:
        """The newest of each value that any look has brought."""
        return self._report

    @property
    def trouble(self) -> str:
        """What went wrong at the last look, empty when nothing did."""
        return self._trouble

    def part(self) -> Part:
        """How this source is; not known before the first look."""
        return Part(NAME, not self._trouble if self._has_looked else None, self._trouble)

    def start(self) -> None:
        """Look now and then from now on."""
        self._thread = threading.Thread(target=self._run, name=NAME, daemon=True)
        self._thread.start()

    def stop(self, timeout_s: float = 1.0) -> bool:
        """End; True if that took no longer than ``timeout_s``. A look on its way is left to its time-out."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(timeout_s)
        return self._thread is None or not self._thread.is_alive()

    def look(self) -> None:
        """Look once, at every place; what cannot be had is said in ``trouble``."""
        looks = [partial(self._look_at_url, url) for url in self._places.urls]
        if self._places.file is not None:
            looks.append(partial(self._look_at_file, self._places.file))
        troubles = []
        for look in looks:
            try:
                self._report = self._report.then(look())
            except RunError as error:
                troubles.append(str(error))
        self._tell("; ".join(troubles))

    def _run(self) -> None:
        while not self._stopping.is_set():
            self.look()
            self._stopping.wait(self._wait_s())

    def _wait_s(self) -> float:
        usual_s = self._every_s * random.uniform(1.0 - JITTER, 1.0 + JITTER)
        return min(usual_s, RETRY_S * 2.0 ** min(self._failures - 1, 20)) if self._failures else usual_s

    def _look_at_url(self, url: str) -> SpaceWeatherReport:
        kept, now_s = self._cache.load(url), self._now()
        if kept is not None and 0.0 <= now_s - kept.asked_at_s < self._every_s * (1.0 - JITTER):
            return _read(kept.answer.body, url, kept.came_at_s)
        try:
            fetched = fetch(url, kept.answer if kept else None, LARGEST_BYTES, timeout_s=self._timeout_s)
        except RunError:
            if kept is not None:
                self._report = self._report.then(_read(kept.answer.body, url, kept.came_at_s))
            raise
        if fetched is None:
            assert kept is not None, "only a known answer can be unchanged"
            self._keep(lambda: self._cache.asked(url, now_s))
            return _read(kept.answer.body, url, kept.came_at_s)
        report = _read(fetched.body, url, now_s)
        self._keep(lambda: self._cache.save(url, fetched, now_s))
        return report

    def _look_at_file(self, file: Path) -> SpaceWeatherReport:
        try:
            changed_s = file.stat().st_mtime
            with file.open("rb") as opened:
                raw = opened.read(LARGEST_BYTES + 1)
        except OSError as error:
            raise RunError(f"{file}: cannot be read ({error.strerror})") from None
        return _read(raw, str(file), min(changed_s, self._now()))

    def _keep(self, store: Callable[[], None]) -> None:
        try:
            store()
        except OSError as error:  # the cache is a convenience: what was fetched is known all the same
            log.debug("the answer could not be kept: %s", error)

    def _tell(self, trouble: str) -> None:
        if trouble and not self._trouble:
            log.warning("%s: %s", NAME, trouble)
        elif self._trouble and not trouble:
            log.info("%s: can be had again", NAME)
        self._trouble, self._has_looked = trouble, True
        self._failures = self._failures + 1 if trouble else 0


def _read(raw: bytes, place: str, near_s: float) -> SpaceWeatherReport:
    try:
        return read_space_weather(raw, near_s)
    except RunError as error:
        raise RunError(f"{place}: {error}") from None


def report_in_words(report: SpaceWeatherReport, now_s: float) -> str:
    """The values with their ages, for people: ``flux 175 (5 h old), K 3.0 (2 h old)``."""
    rows = (
        ("flux", report.flux, 0, FLUX_GOOD_S),
        ("sunspots", report.sunspots, 0, FLUX_GOOD_S),
        ("K", report.kp, 1, KP_GOOD_S),
    )
    known = [
        f"{name} {m.value:.{digits}f} ({_age(m, now_s, good_s)})"
        for name, m, digits, good_s in rows
        if m is not None
    ]
    return ", ".join(known) or "nothing known"


def _age(measured: Measured, now_s: float, good_s: float) -> str:
    hours = measured.age_s(now_s) / 3600.0
    if hours < 1.0:
        age = "under 1 h old"
    else:
        age = f"{hours:.0f} h old" if hours < 48.0 else f"{hours / 24.0:.0f} days old"
    return age if measured.is_good(now_s, good_s) else f"{age}, too old to count"
