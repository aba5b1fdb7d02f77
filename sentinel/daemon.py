"""The daemon: wires sources, core and outputs together; the only file that knows all the others.

One loop owns the core. Sources, the broker and the button push what comes into the inbox from their own
threads; every output has a thread of its own. The loop wakes for what comes, for a signal, and every few
seconds to let event time pass.
"""

import logging
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from sentinel import notify
from sentinel.config import Config
from sentinel.diary_output import DiaryOutput, Place, Remembered
from sentinel.errors import SentinelError
from sentinel.event_clock import EventClock
from sentinel.forecast import diary_path
from sentinel.inbox import Inbox
from sentinel.intake.line import LineBatch
from sentinel.live_watch import LiveWatch
from sentinel.night import night_rule
from sentinel.opening_outputs import Errand, Opened, open_outputs
from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_prune import PruneRule
from sentinel.outside import Outside
from sentinel.requests import Requests
from sentinel.restart import starting_time_s
from sentinel.sources import Sources
from sentinel.telling import Telling
from sentinel.watch.bulletin import Bulletin, Part
from sentinel.watch.decode import Decode

TICK_S = 5.0
"""How often silence is looked at: verdicts fall due to the second, nobody needs to hear of them sooner."""
SETTLE_S = 0.01
"""A decoder writes a slot's lines in one go: with the inbox empty for so long, the slot is complete."""
BEHIND_S = 0.25
"""A backlog comes in blocks; with the inbox empty for so long, it has been read."""
FIRST_LOOK_S = 0.5
"""After the start the sources are given so long before the watch gives its first verdict."""
LAG_S = 5.0
"""Event time trails the clock by this much, so that lines of a slow decoder are not late; in compressed time
by more, since a moment of waiting is much there."""

Message = LineBatch | Errand
"""What comes in: lines, and what people ask for."""

log = logging.getLogger("sentinel")


class Daemon:
    """Runs one watch. ``on_change`` sees every bulletin that brings a change, ``on_refresh`` the latest one
    every few seconds.

    ``rate`` is how fast the band's time runs: 1 except for a decoder that plays in compressed time, whose
    watch begins anew at every start.
    """

    def __init__(
        self,
        config: Config,
        state_dir: Path,
        *,
        rate: float = 1.0,
        on_change: Callable[[Bulletin], None] = lambda _bulletin: None,
        on_refresh: Callable[[Bulletin], None] | None = None,
    ) -> None:
        self.config = config
        self._started_s = boottime_s()
        self._wall_minus_boot_s = time.time() - self._started_s
        self._is_stopping = self._is_behind = self._is_downtime_noted = False
        self._lag_s = max(LAG_S, 0.15 * rate)
        self._inbox: Inbox[Message] = Inbox()
        self._outside = Outside(config, state_dir)
        rule = PruneRule(config.diary.keep_days, config.diary.keep_summary_days, config.diary.max_mb)
        self._diary = DiaryOutput(Diary(diary_path(config, state_dir)), config.band.name, rule)
        self._remembered = self._diary.recall() if rate == 1.0 else Remembered()
        memory = self._remembered.memory
        self._was_clock_doubtful = not self._outside.is_clock_right
        start_s = starting_time_s(memory, time.time(), self._was_clock_doubtful)
        self._clock = EventClock(start_s, self._started_s, rate)
        self._live = LiveWatch(config.watch_settings(), self._clock, memory)
        self._sources = Sources(config, self._remembered.checkpoints)
        quiet = night_rule(config, config.mqtt.quiet_hours if config.mqtt else None)
        self._telling = Telling(
            self._live,
            self._diary,
            self._remembered.notes,
            memory.live_openings,
            parts=self._parts,
            chances=self._outside.chances,
            is_quiet_hour=lambda: quiet.is_night(time.time()),
            on_change=on_change,
            on_refresh=on_refresh,
        )
        self._opened = Opened(self._telling.outputs)
        try:
            open_outputs(self._opened, config, state_dir, Requests(config, self._telling), self._inbox.offer)
        except SentinelError:
            self._telling.stop()  # what was opened before the one that refuses
            raise

    def stop(self) -> None:
        """Ask the loop to end; safe in a signal handler."""
        self._is_stopping = True
        self._inbox.ring()

    def wait_for_broker(self, timeout_s: float) -> bool:
        """True as soon as the broker has accepted us, or if there is none."""
        broker = self._opened.broker
        return broker is None or broker.wait_connected(timeout_s)

    def run(self) -> None:
        """Watch until ``stop``. Raises RunError for what cannot be started."""
        if self._live.has_verdict:
            self._diary.follow(self._live.bulletin(), self._live.heard_lately())
        self._diary.start(self._outside.right_time_s)
        self._outside.start()
        self._sources.start(self._inbox.put)
        notify.ready()
        log.info("watching %s from %s", self.config.band.name, self.config.station.locator)
        try:
            self._loop()
        finally:
            notify.stopping()
            self._close()

    # --- the loop ---------------------------------------------------------------------------------

    def _loop(self) -> None:
        next_tick_s = boottime_s() + FIRST_LOOK_S
        is_settling = False
        while not self._is_stopping:
            settle_s = BEHIND_S if self._is_behind else SETTLE_S
            message = self._inbox.take(settle_s if is_settling else next_tick_s - boottime_s())
            now_s = boottime_s()
            if message is not None:
                is_settling = self._take(message, now_s) or is_settling
                if self._is_behind or not is_settling or now_s < next_tick_s:
                    continue
            if is_settling:
                self._settle(now_s)
                is_settling = False
            if now_s >= next_tick_s or self._clock.rate > 1.0:
                self._time_passes(now_s)
                next_tick_s = now_s + TICK_S / max(1.0, self._clock.rate / TICK_S)
        if is_settling:  # the place that is kept stands behind a slot that was read, but not judged yet
            self._judge(not self._is_behind, boottime_s())

    def _take(self, message: Message, now_s: float) -> bool:
        """Act on what came in; True when it held decodes."""
        if isinstance(message, LineBatch):
            return self._take_lines(message, now_s)
        message(now_s)
        self._telling.tell(now_s)
        return False

    def _take_lines(self, batch: LineBatch, now_s: float) -> bool:
        """Feed a batch. Of a backlog nothing is told before all of it has been read."""
        self._is_behind = not batch.is_live
        has_decodes, decode = False, None
        for decode in self._sources.read(batch, self._outside.right_time_s()):
            if decode is None:
                self._live.reject()
                continue
            has_decodes = True
            self._feed(decode, batch.is_live, now_s)
        if not batch.is_live and batch.written_s is not None and decode is not None:
            self._live.was_written(decode.at_s, time.time() - batch.written_s, now_s)
        notify.watchdog()  # a long backlog is progress too
        return has_decodes or self._is_behind

    def _feed(self, decode: Decode, is_live: bool, now_s: float) -> None:
        if decode.at_s > self._live.now_s and self._live.has_verdict:
            self._judge(is_live, now_s)
        wall_moved_s = time.time() - now_s - self._wall_minus_boot_s
        has_changed = self._telling.happened(self._live.feed(decode, is_live, now_s, wall_moved_s))
        if has_changed and is_live:
            self._telling.tell(now_s)

    def _judge(self, is_told: bool, now_s: float) -> None:
        """The instant fed last is complete."""
        if self._telling.happened(self._live.settle()) and is_told:
            self._telling.tell(now_s)
        self._telling.note()

    def _settle(self, now_s: float) -> None:
        """Everything that has come is fed: tell it, and keep the place up to which it was read.

        After a backlog time passes first: what it began may be over by now.
        """
        self._telling.happened(self._live.settle())
        if self._is_behind:
            self._is_behind = False
            self._telling.note()  # whoever is in the backlog's last slot may be long gone by now
            self._note_downtime(now_s)
            self._telling.happened(self._live.let_pass(self._event_s(now_s)))
        self._telling.tell(now_s)
        self._keep_place(now_s)

    def _keep_place(self, now_s: float) -> None:
        def place(notes: Mapping[str, Any]) -> Place:
            standing = self._live.standing(now_s, time.time()).as_json()
            recent, places = self._live.recent.take_lines(), self._sources.places()
            return Place(recent, places, {**notes, "watch": standing}, self._live.learned)

        self._telling.note(place)

    def _time_passes(self, now_s: float) -> None:
        """Let silence pass, look around, tell how things stand, feed the watchdog."""
        at_s, running_s = self._event_s(now_s), now_s - self._started_s
        self._telling.happened(self._outside.tell(self._live, self._sources.trouble(), at_s, running_s))
        neighbours = self._opened.neighbours
        for word in neighbours.words(self._event_s(now_s)) if neighbours is not None else ():
            self._telling.happened(self._live.hear_of(word))
        self._telling.happened(self._live.let_pass(self._event_s(now_s)))
        self._note_downtime(now_s)
        bulletin = self._telling.tell(now_s)
        self._keep_place(now_s)
        if bulletin is not None:
            self._outside.ask(bulletin)
        notify.watchdog()

    def _event_s(self, now_s: float) -> float:
        return max(self._clock.now_s(now_s) - self._lag_s, self._live.now_s)

    def _note_downtime(self, now_s: float) -> None:
        """Once the time of the start is known: from the last sign of life to it, nobody watched."""
        since_s = self._remembered.memory.watched_until_s
        if self._is_downtime_noted or since_s is None or not self._outside.is_clock_right:
            return
        self._is_downtime_noted = True
        until_s = self._clock.now_s(self._started_s)
        if self._was_clock_doubtful:  # event time went on from where it stood, and only now can be compared
            until_s = starting_time_s(self._remembered.memory, time.time() - now_s + self._started_s, False)
        if until_s > since_s:
            self._diary.note_downtime(since_s, until_s)

    # --- outputs ----------------------------------------------------------------------------------

    def _parts(self) -> Iterator[Part]:
        yield from self._sources.parts()
        yield from self._outside.parts(self._live)
        for output in self._telling.outputs:
            yield from output.parts()
        yield self._diary.part()

    def _close(self) -> None:
        self._sources.stop()
        self._keep_place(boottime_s())
        self._outside.stop()
        self._telling.stop()


def boottime_s() -> float:
    """The monotonic clock that goes on while the computer sleeps."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)
