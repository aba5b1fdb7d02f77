"""The broker: cut off at any packet, and away for a day.

A real broker; in front of it, where packets are to be cut, a relay that counts them. An event counts as lost
when it was handed in and never arrived; at QoS 1 it may arrive twice.
"""

import socket
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from unittest import mock

import pytest
from broker import Listener, RealBroker, free_port
from faults.evening import pause
from faults.row import Faults, Row, open_files, resident_mib
from running import PATIENCE_S, eventually
from test_broker_link import (
    EVENT,
    STATE,
    TOPICS,
    event,
    running,
    state,
)

from sentinel.outputs import broker_link, link_book
from sentinel.outputs.broker_link import BrokerLink
from sentinel.outputs.broker_settings import BrokerSettings
from sentinel.outputs.link_worker import Session
from sentinel.outputs.outbox import MAX_EVENTS

DAY_S = 86_400
STATE_EVERY_S = 60
MOST_GROWTH_MIB = 2.0
"""What a day without a broker may add: room for the hundred events, and for chance."""


# --- cut at the Nth packet --------------------------------------------------------------------------


class Relay:
    """Hands on what comes, in both directions, and ends the connection at the packets that it is told to."""

    host = "127.0.0.1"

    def __init__(self, to_port: int, first: int = 0, last: int = -1, port: int = 0) -> None:
        self.count, self.port = 0, port
        self._to = (self.host, to_port)
        self._cut = range(first, last + 1)
        self._lock = threading.Lock()
        self._threads: list[threading.Thread] = []

    def __enter__(self) -> "Relay":
        self._server = socket.create_server((self.host, self.port))
        self.port = int(self._server.getsockname()[1])
        self._start(self._accept)
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        for thread in self._threads:
            thread.join(PATIENCE_S)

    def _start(self, run: object, *given: object) -> None:
        thread = threading.Thread(target=run, args=given, daemon=True)  # type: ignore[arg-type]
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                near, _ = self._server.accept()
                far = socket.create_connection(self._to)
                self._start(self._hand_on, near, far)
                self._start(self._hand_on, far, near)

    def _hand_on(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while chunk := one.recv(65_536):
                with self._lock:
                    self.count += 1
                    is_cut = self.count in self._cut
                if is_cut:
                    break
                other.sendall(chunk)
        for each in (one, other):
            with suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()


EVENTS = [b"event %d" % number for number in range(6)]


def arrived(broker: RealBroker, first: int, last: int) -> tuple[list[bytes], bool, int]:
    """Hand in the events one by one while these packets are cut off.

    Returns the events that arrived, whether the newest state did, and how many packets there were.
    """
    newest = b"state %d" % (len(EVENTS) - 1)
    with Listener(broker) as listener, Relay(broker.port, first, last) as relay:
        with running(BrokerSettings(relay.host, TOPICS.node, port=relay.port)) as link:
            for number, payload in enumerate(EVENTS):
                link.publish(event(payload))
                link.publish(state(b"state %d" % number))
                with suppress(pytest.fail.Exception, AssertionError):
                    listener.wait_for(EVENT, payload, PATIENCE_S)
            with suppress(pytest.fail.Exception, AssertionError):
                listener.wait_for(STATE, newest, PATIENCE_S)
        found = [payload for _, payload in listener.payloads(EVENT)]
        return found, (STATE, newest) in listener.payloads(STATE), relay.count


def nth_packets_are_cut(in_a_row: int, is_long: bool) -> Row:
    """The connection ends at the Nth packet, and at so many after it."""
    injected = survived = gone = doubled = 0
    with tempfile.TemporaryDirectory() as folder, RealBroker(Path(folder)) as broker:
        nth, count, open_before = 1, 1, open_files()
        while nth <= count:
            events, has_state, count = arrived(broker, nth, nth + in_a_row - 1)
            injected += 1
            survived += has_state
            gone += len(set(EVENTS) - set(events))
            doubled += len(events) - len(set(events))
            nth += 1 if is_long else 5 * in_a_row
        leaked = left_open(open_before)
    note = f"{doubled} events twice, as QoS 1 allows, {leaked} descriptors leaked"
    return Row(injected, survived if leaked <= 0 else 0, gone, None, note)


def left_open(before: int) -> int:
    """Descriptors that stay open, once the threads that still close some have had their time."""
    for _ in range(200):
        if open_files() <= before:
            return 0
        pause(0.05)
    return open_files() - before


# --- away for a day ---------------------------------------------------------------------------------


def away_for_a_day(is_long: bool) -> Row:
    """A day's messages at once, and as many attempts to connect as a day has.

    Accelerated: attempts every 2 ms instead of every 2 minutes. More events than the queue holds are handed
    in; the rest of them is the bound's price, and must be counted.
    """
    attempts = DAY_S // int(link_book.MAX_DELAY_S) if is_long else 60
    events = [b"event %d" % number for number in range(MAX_EVENTS + 50)]
    states = [b"state %d" % number for number in range(DAY_S // STATE_EVERY_S)]
    away = free_port()  # where the link looks for the broker, and where at last a relay to it stands
    with (
        tempfile.TemporaryDirectory() as folder,
        RealBroker(Path(folder)) as broker,
        Listener(broker) as listener,
        attempts_to_connect() as tried,
        running(BrokerSettings(broker.host, TOPICS.node, port=away)) as link,
    ):
        eventually(lambda: tried.times >= 10, "first attempts")
        began_mib, files = resident_mib(), open_files()
        for payload in states:
            link.publish(state(payload))
        for payload in events:
            link.publish(event(payload))
        eventually(lambda: tried.times >= attempts, "attempts to connect")
        grown_mib, leaked = resident_mib() - began_mib, open_files() - files
        with Relay(broker.port, port=away):
            listener.wait_for(STATE, states[-1], PATIENCE_S)
            listener.wait_for(EVENT, events[-1], PATIENCE_S)
            kept = [payload for _, payload in listener.payloads(EVENT)]
            dropped = link.health().dropped_events
            link.stop()
    is_flat = grown_mib < MOST_GROWTH_MIB and leaked <= 1  # one attempt may be under way
    note = f"{grown_mib:+.1f} MiB resident, {len(kept)} of {len(events)} events kept in order"
    is_ordered = kept == events[-MAX_EVENTS:]
    gone = len(set(events) - set(kept))
    return Row(attempts, attempts if is_flat and is_ordered else 0, gone, None, note, dropped)


class Tried:
    """How often a link has tried in vain to connect."""

    times = 0


@contextmanager
def attempts_to_connect() -> Iterator[Tried]:
    """Meanwhile they come every 2 ms, and are counted."""
    tried, real = Tried(), BrokerLink.session_unreachable

    def unreachable(link: BrokerLink, session: Session, reason: str) -> None:
        tried.times += 1
        real(link, session, reason)

    with longest_delay(0.002), mock.patch.object(BrokerLink, "session_unreachable", unreachable):
        yield tried


@contextmanager
def longest_delay(seconds: float) -> Iterator[None]:
    """Meanwhile links try again at least as often, instead of every two minutes."""
    with (
        mock.patch.object(link_book, "MAX_DELAY_S", seconds),
        mock.patch.object(broker_link, "MAX_DELAY_S", seconds),
    ):
        yield


FAULTS: Faults = {
    "the broker is cut off at the Nth packet": lambda is_long: nth_packets_are_cut(1, is_long),
    "and at the three packets after it": lambda is_long: nth_packets_are_cut(4, is_long),
    "the broker is away for 24 h": away_for_a_day,
}
