"""The daemon: wires sources, core and outputs together; the only file that knows all the others.

One loop owns the core, a watch for each band. Sources, the broker and the button push what comes into the
inbox from their own threads; every output has a thread of its own. The loop wakes for what comes, for a
signal, and every few seconds to let event time pass.
"""

import logging
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from sentinel import notify
from sentinel.band_diary import BandDiary, Remembered
from sentinel.band_watch import BandWatch, Start
from sentinel.config import Config
from sentinel.diary_output import DiaryOutput
from sentinel.errors import SentinelError
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
from sentinel.sources import Sources
from sentinel.telling import Telling
from sentinel.watch.bands import ascending, skip_finders
from sentinel.watch.bulletin import Bulletin, OtherBand, Part

TICK_S = 5.0
"""How often silence is looked at: verdicts fall due to the second, nobody needs to hear of them sooner."""
SETTLE_S = 0.01
"""A decoder writes a slot's lines in one go: with the inbox empty for so long, the slot is complete."""
BEHIND_S = 0.25
"""A backlog comes in blocks; with the inbox empty for so long, it has been read."""
FIRST_LOOK_S = 0.5
"""After the start the sources are given so long before the watch gives its first verdict."""
Message = LineBatch | Errand
"""What comes in: lines, and what people ask for."""

log = logging.getLogger("sentinel")


class Daemon:
    """Runs a watch for each band. ``on_change`` sees every bulletin of the main band that brings a change,
    ``on_refresh`` the latest one every few seconds.

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
        self._is_stopping = self._is_behind = False
        self._rate = rate
        self._inbox: Inbox[Message] = Inbox()
        self._outside = Outside(config, state_dir)
        rule = PruneRule(config.diary.keep_days, config.diary.keep_summary_days, config.diary.max_mb)
        self._diary = DiaryOutput(Diary(diary_path(config, state_dir)), config.band.names, rule)
        self._opened = Opened()
        quiet = night_rule(config, config.mqtt.quiet_hours if config.mqtt else None)

        def make_telling(live: LiveWatch, diary: BandDiary, back: Remembered) -> Telling:
            is_main = live.settings.band == config.band.name
            return Telling(
                live,
                diary,
                back.notes,
                back.memory.live_openings,
                self._opened.outputs if is_main else self._opened.of_all_bands,
                parts=lambda: self._parts(live),
                chances=self._outside.chances if is_main else tuple,
                others=lambda: self._others(live),
                is_quiet_hour=lambda: quiet.is_night(time.time()),
                on_change=on_change if is_main else None,
                on_refresh=on_refresh if is_main else None,
                label=f"{live.settings.band} " if len(config.band.names) > 1 else "",
            )

        settings = config.all_watch_settings()
        self._finders = skip_finders(settings)
        start = Start(self._started_s, time.time() - self._started_s, rate, not self._outside.is_clock_right)
        self._bands = {
            each.band: BandWatch(
                each, self._diary.bands[each.band], start, make_telling, self._finders.get(each.band)
            )
            for each in settings
        }
        self._main = self._bands[config.band.name]
        self._upwards = [self._bands[band] for band in ascending(settings)]
        self._sources = Sources(config, self._main.remembered.checkpoints)
        requests = Requests(config, {band: watch.telling for band, watch in self._bands.items()})
        try:
            open_outputs(self._opened, config, state_dir, requests, self._inbox.offer)
        except SentinelError:
            self._stop_outputs()  # what was opened before the one that refuses
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
        for watch in self._upwards:
            watch.follow()
        self._diary.start(self._outside.right_time_s)
        self._outside.start()
        self._sources.start(self._inbox.put)
        notify.ready()
        log.info("watching %s from %s", ", ".join(self._bands), self.config.station.locator)
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
            if now_s >= next_tick_s or self._rate > 1.0:
                self._time_passes(now_s)
                next_tick_s = now_s + TICK_S / max(1.0, self._rate / TICK_S)
        if is_settling:  # the place that is kept stands behind a slot that was read, but not judged yet
            for watch in self._upwards:
                watch.judge(not self._is_behind, boottime_s())

    def _take(self, message: Message, now_s: float) -> bool:
        """Act on what came in; True when it held decodes."""
        if isinstance(message, LineBatch):
            return self._take_lines(message, now_s)
        message(now_s)
        self._tell(now_s)
        return False

    def _take_lines(self, batch: LineBatch, now_s: float) -> bool:
        """Feed a batch. Of a backlog nothing is told before all of it has been read."""
        self._is_behind = not batch.is_live
        has_decodes, watch, decode = False, self._main, None
        for band, decode in self._sources.read(batch, self._outside.right_time_s(), now_s):
            watch = self._bands[band]
            if decode is None:
                watch.live.reject()
                continue
            has_decodes = True
            watch.feed(decode, batch.is_live, now_s)
        if not batch.is_live and batch.written_s is not None and decode is not None:
            watch.live.was_written(decode.at_s, time.time() - batch.written_s, now_s)
        notify.watchdog()  # a long backlog is progress too
        return has_decodes or self._is_behind

    def _settle(self, now_s: float) -> None:
        """Everything that has come is fed: tell it, and keep the place up to which it was read.

        After a backlog time passes first: what it began may be over by now.
        """
        was_behind, self._is_behind = self._is_behind, False
        for watch in self._from_below(now_s):
            watch.settle()
            if was_behind:
                watch.telling.note()  # whoever is in the backlog's last slot may be long gone by now
                self._note_downtime(watch, now_s)
                watch.let_pass(now_s)
        self._tell(now_s)
        self._keep_place(now_s)

    def _time_passes(self, now_s: float) -> None:
        """Let silence pass, look around, tell how things stand, feed the watchdog."""
        running_s = now_s - self._started_s
        for watch in self._from_below(now_s):
            trouble = self._sources.trouble(watch.band, now_s)
            changes = self._outside.tell(watch.live, trouble, watch.event_s(now_s), running_s)
            watch.telling.happened(changes)
            if (neighbours := self._opened.neighbours) is not None:
                watch.hear_of(neighbours.words(watch.event_s(now_s), watch.band))
            watch.let_pass(now_s)
            self._note_downtime(watch, now_s)
        bulletin = self._tell(now_s)
        self._keep_place(now_s)
        if bulletin is not None:
            self._outside.ask(bulletin)
        notify.watchdog()

    def _from_below(self, now_s: float) -> Iterator[BandWatch]:
        """The bands from the lowest up, each told of the skip of the one below, which has been judged."""
        finder = None
        for watch in self._upwards:
            if finder is not None:
                watch.hear_from_below(finder.take(), now_s)
            yield watch
            finder = self._finders.get(watch.band)

    def _tell(self, now_s: float) -> Bulletin | None:
        """Tell how all bands stand, the main one last: it carries what is told of the node; returns its
        bulletin."""
        for watch in self._bands.values():
            if watch is not self._main:
                watch.telling.tell(now_s)
        return self._main.telling.tell(now_s)

    def _keep_place(self, now_s: float) -> None:
        """The places of the sources go with the main band, the last: they stand for what all bands got."""
        for watch in self._bands.values():
            if watch is not self._main:
                watch.keep_place({}, now_s)
        self._main.keep_place(self._sources.places(), now_s)

    def _note_downtime(self, watch: BandWatch, now_s: float) -> None:
        if self._outside.is_clock_right:
            watch.note_downtime(now_s)

    # --- outputs ----------------------------------------------------------------------------------

    def _others(self, live: LiveWatch) -> tuple[OtherBand, ...]:
        """How the bands beside this one stand, as far as they have been judged."""
        others = (watch for watch in self._upwards if watch.live is not live)
        return tuple(OtherBand(each.band, state) for each in others if (state := each.live.state) is not None)

    def _parts(self, live: LiveWatch) -> Iterator[Part]:
        yield from self._sources.parts()
        yield from self._outside.parts(live)
        for output in self._opened.outputs:
            yield from output.parts()
        yield self._diary.part()

    def _close(self) -> None:
        self._sources.stop()
        self._keep_place(boottime_s())
        self._outside.stop()
        self._stop_outputs()

    def _stop_outputs(self) -> None:
        """Let every output say its last word, and the diary write."""
        for output in self._opened.outputs:
            output.stop()
        if not self._diary.stop():
            log.warning("the diary was still being written at the end")


def boottime_s() -> float:
    """The monotonic clock that goes on while the computer sleeps."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)
