"""The daemon: wires sources, core and outputs together; the only file that knows all the others.

One loop owns the core. Sources push batches into the inbox from their own threads; every output has a thread
of its own. The loop wakes for lines, for a signal, and every few seconds to let event time pass.
"""

import logging
import math
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from sentinel import __version__, notify
from sentinel.config import Config
from sentinel.event_clock import EventClock
from sentinel.identity import node_id
from sentinel.inbox import Inbox
from sentinel.intake.layout import Header, LayoutReader
from sentinel.intake.line import LineBatch
from sentinel.intake.source import Source
from sentinel.outputs.wire import NodeHealth
from sentinel.watch.bulletin import Bulletin, Part
from sentinel.watch.changes import Change
from sentinel.watch.decode import Decode
from sentinel.watch.receiver import FactKind, ReceiverFact
from sentinel.watch.watch import LATE_S, Watch
from sentinel.wiring import BrokerOutput, PictureOutput, make_source

TICK_S = 5.0
"""How often silence is looked at: verdicts fall due to the second, nobody needs to hear of them sooner."""
SETTLE_S = 0.01
"""A decoder writes a slot's lines in one go: with the inbox empty for so long, the slot is complete."""
FIRST_LOOK_S = 0.5
"""After the start the sources are given so long before the watch gives its first verdict."""
LAG_S = 5.0
"""Event time trails the clock by this much, so that lines of a slow decoder are not late; in compressed time
by more, since a moment of waiting is much there."""
KEPT_DECODES = 4_000
"""An hour of a crowded band: enough to begin the watch again when the wall clock was wrong."""

log = logging.getLogger("sentinel")


class Daemon:
    """Runs one watch. ``on_change`` sees every bulletin that brings a change, ``on_refresh`` the latest one
    every few seconds.

    ``rate`` is how fast the band's time runs: 1 except for a decoder that plays in compressed time.
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
        self._on_change = on_change
        self._on_refresh = on_refresh
        self._rate = rate
        self._started_s = time.monotonic()
        self._is_stopping = False
        self._is_source_gone = False
        self._lag_s = max(LAG_S, 0.15 * rate)
        self._recent: deque[Decode] = deque(maxlen=KEPT_DECODES)
        self._inbox: Inbox[LineBatch] = Inbox()
        self._sources: dict[str, Source] = {}
        self._readers: dict[str, LayoutReader] = {}
        self._watch = Watch(config.watch_settings())
        self._clock = EventClock(time.time(), self._started_s, rate)
        self._picture = PictureOutput(config, state_dir)
        self._broker = BrokerOutput.start(config, node_id(state_dir)) if config.mqtt else None

    def stop(self) -> None:
        """Ask the loop to end; safe in a signal handler."""
        self._is_stopping = True
        self._inbox.ring()

    def run(self) -> None:
        """Watch until ``stop``. Raises RunError for what cannot be started."""
        self._start_sources()
        notify.ready()
        log.info("watching %s from %s", self.config.band.name, self.config.station.locator)
        try:
            self._loop()
        finally:
            notify.stopping()
            self._close()

    # --- the loop ---------------------------------------------------------------------------------

    def _loop(self) -> None:
        next_tick_s = time.monotonic() + FIRST_LOOK_S
        is_settling = False
        while not self._is_stopping:
            wait_s = SETTLE_S if is_settling else next_tick_s - time.monotonic()
            batch = self._inbox.take(wait_s)
            now_s = time.monotonic()
            if batch is not None:
                is_settling = self._take(batch, now_s) or is_settling
                if not is_settling or now_s < next_tick_s:
                    continue
            if is_settling:
                self._settle(now_s)
                is_settling = False
            if now_s >= next_tick_s or self._rate > 1.0:
                self._time_passes(now_s)
                next_tick_s = now_s + TICK_S / max(1.0, self._rate / TICK_S)

    def _take(self, batch: LineBatch, now_s: float) -> bool:
        """Read a batch into the core; True when it held decodes."""
        reader = self._readers[batch.source]
        found_decodes = False
        for found in reader.read_batch(batch, time.time()):
            if isinstance(found, Decode):
                found_decodes = True
                self._feed(found, batch.is_live, now_s)
            elif found is not None and not isinstance(found, Header):
                self._watch.reject()
        return found_decodes

    def _feed(self, decode: Decode, is_live: bool, now_s: float) -> None:
        if is_live:
            if not self._clock.follows_lines and decode.at_s < self._watch.now_s - LATE_S:
                self._go_back()
            self._clock.saw_live(decode.at_s, now_s)
        elif not self._recent and decode.at_s < self._watch.now_s:
            self._go_back()
        self._recent.append(decode)
        self._publish(self._watch.feed(decode), now_s)

    def _go_back(self) -> None:
        """Lines come from before the time taken from the wall clock: begin again, with what is known."""
        self._watch = Watch(self.config.watch_settings())
        for decode in self._recent:
            self._watch.feed(decode)

    def _settle(self, now_s: float) -> None:
        """The newest slot is complete: judge it now."""
        newest_s = self._watch.now_s
        self._publish(self._watch.tick(math.nextafter(newest_s, math.inf)), now_s)
        self._show()

    def _time_passes(self, now_s: float) -> None:
        """Let silence pass, look at the sources, publish what is due, feed the watchdog."""
        self._look_at_sources(now_s)
        self._let_pass(self._clock.now_s(now_s) - self._lag_s, now_s)
        if not self._watch.has_verdict:
            return
        self._show()
        if self._broker is not None:
            self._broker.time_passed(now_s, [self._bulletin()], self._node_health)
        notify.watchdog()

    def _let_pass(self, event_s: float, now_s: float) -> None:
        """Event time has come to ``event_s``, and what was fed until then is complete."""
        until_s = max(event_s, self._watch.now_s)
        self._publish(self._watch.tick(until_s), now_s)
        if not self._watch.has_verdict:
            self._publish(self._watch.tick(math.nextafter(until_s, math.inf)), now_s)

    # --- sources ----------------------------------------------------------------------------------

    def _start_sources(self) -> None:
        for index, section in enumerate(self.config.source):
            name = self.config.source_name(index)
            self._readers[name] = LayoutReader(section.compiled, name)
            self._sources[name] = make_source(self.config, index)
        for source in self._sources.values():
            source.start(self._inbox.put)

    def _look_at_sources(self, now_s: float) -> None:
        """Tell the core when every source is gone, and when one is back."""
        is_gone = bool(self._sources) and not any(s.health().is_there for s in self._sources.values())
        if is_gone == self._is_source_gone:
            return
        self._is_source_gone = is_gone
        at_s = max(self._clock.now_s(now_s) - self._lag_s, self._watch.now_s)
        fact = ReceiverFact(at_s, FactKind.SOURCE_GONE, is_gone, self._source_note())
        self._publish(self._watch.feed(fact), now_s)
        self._settle(now_s)

    def _source_note(self) -> str:
        troubles = [s.health().trouble for s in self._sources.values()]
        trouble = next((t for t in troubles if t), "the decoder's output is not there")
        return f"Nothing can be heard: {trouble}."

    # --- outputs ----------------------------------------------------------------------------------

    def _publish(self, changes: Iterable[Change], now_s: float) -> None:
        """Hand what changed to every output."""
        found = list(changes)
        if not found:
            return
        bulletin = self._bulletin()
        log.info("%s: %s", bulletin.state.value, ascii(bulletin.because)[1:-1])
        notify.status(f"{bulletin.state.value}: {bulletin.because}")
        self._picture.put(bulletin)
        self._on_change(bulletin)
        if self._broker is not None:
            self._broker.changed(self.config.band.name, found, bulletin, now_s)

    def _show(self) -> None:
        """Refresh the terminal, whose ages go on while nothing changes."""
        if self._on_refresh is not None and self._watch.has_verdict:
            self._on_refresh(self._bulletin())

    def wait_for_broker(self, timeout_s: float) -> bool:
        """True as soon as the broker has accepted us, or if there is none."""
        return self._broker is None or self._broker.wait_connected(timeout_s)

    def _bulletin(self) -> Bulletin:
        return replace(self._watch.bulletin(), parts=self._parts())

    def _parts(self) -> tuple[Part, ...]:
        sources = tuple(_source_part(source) for source in self._sources.values())
        broker = (self._broker.part(),) if self._broker is not None else ()
        return (*sources, *broker, self._picture.part())

    def _node_health(self) -> NodeHealth:
        return NodeHealth(
            version=__version__,
            uptime_s=time.monotonic() - self._started_s,
            parts=self._parts(),
            dropped_events=self._broker.dropped_events() if self._broker is not None else 0,
        )

    def _close(self) -> None:
        for source in self._sources.values():
            if not source.stop():
                log.warning("source %s did not stop in time", source.name)
        self._picture.stop()
        if self._broker is not None:
            self._broker.stop()


def _source_part(source: Source) -> Part:
    health = source.health()
    return Part(f"source {source.name}", health.is_there, health.trouble or "")
