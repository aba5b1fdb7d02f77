"""Fuzzed lines, ten million in the long form: from bytes to decodes, through the core, to what is published.

Of each slot's lines some are as a decoder prints them and the rest are spoilt: bytes flipped, cut out or put
in, lines run together, numbers beyond all range, escapes, directions of writing, no UTF-8, no text at all.
Survived is a line that raised nothing and of which nothing unprintable left us; lost is a line that was not
spoilt and could not be read.
"""

import json
import random
import re
from collections.abc import Callable

from faults.row import Faults, Row, resident_mib
from nights import HOME, LAYOUT, LOCAL, SLOT_S, SOUTH_WEST, clock, seconds

from sentinel.event_clock import EventClock
from sentinel.intake.layout import Layout, LayoutReader
from sentinel.intake.line import LineBatch
from sentinel.intake.line_buffer import LineBuffer
from sentinel.live_watch import LiveWatch
from sentinel.outputs.hygiene import clean_text
from sentinel.outputs.mqtt_messages import MqttMessage, Topics
from sentinel.outputs.publisher import Publisher
from sentinel.outputs.wire import NodeHealth
from sentinel.watch.changes import Change
from sentinel.watch.decode import Decode
from sentinel.watch.settings import WatchSettings

START_S = seconds("2026-06-14T20:00:00")
LINES_A_SLOT, GOOD_A_SLOT = 100, 30
TELL_EVERY_SLOTS = 10
MOST_GROWTH_MIB = 40.0
"""After the tables have filled up (they are bounded), in the long form."""
WARM_SLOTS = 5_000

HOSTILE = (
    b"\x1b[2J", b"\x00", b"\x9b31m", b"\xe2\x80\xae", b"\xe2\x81\xa6", b"\xff\xfe", b"\xed\xa0\x80", b"\xc3",
    b"</script><script>", b"'; DROP TABLE sighting; --", b'"}', b"{", b"\r", b"\t", b"\x7f", b"\xe2\x80\xa8",
    b"1e999", b"NaN", b"-inf", b"99999999999999999999", b"%n%s", "\u0967\u0968".encode(), b"+/#", b"A" * 300,
)  # fmt: skip

TOPIC = re.compile(r"[a-z0-9/_.-]+")


# --- lines ------------------------------------------------------------------------------------------


class Slot:
    """The lines of one slot, in the three layouts by turns: a text with dates, one without, JSON."""

    def __init__(self, number: int, chance: random.Random) -> None:
        self.at_s = START_S + SLOT_S * number
        self.kind = number % len(LAYOUTS)
        self._chance = chance
        good = [self._line() for _ in range(GOOD_A_SLOT)]
        spoilt = [self._spoilt(chance.choice(good)) for _ in range(LINES_A_SLOT - GOOD_A_SLOT)]
        self.good = {line.decode("ascii") for line in good}
        lines = good + spoilt
        chance.shuffle(lines)
        self.text = b"".join(line + b"\n" for line in lines)

    def _line(self) -> bytes:
        chance = self._chance
        call, square = chance.choice((LOCAL, *SOUTH_WEST)) if chance.random() < 0.7 else self._anybody()
        message = f"{chance.choice(('CQ', 'CQ DX', 'VE1QZZ'))} {call} {square[:4]}"
        snr_db, audio_hz = chance.randrange(-24, 10), chance.randrange(200, 3000)
        stamp = clock(self.at_s)
        if self.kind == 1:
            return f"{stamp[11:19].replace(':', '')} {snr_db} 0.1 {audio_hz} {message}".encode("ascii")
        if self.kind == 2:
            return json.dumps({"t": stamp, "snr": snr_db, "hz": audio_hz, "text": message}).encode("ascii")
        return f"{stamp} {snr_db} 0.1 {audio_hz} {message}".encode("ascii")

    def _anybody(self) -> tuple[str, str]:
        chance, letters = self._chance, "ABCDEFGHIJKLMNOPQR"
        call = f"{chance.choice(('W', 'DL', 'JA', 'PY', 'VK'))}{chance.randrange(10)}Q"
        square = f"{chance.choice(letters)}{chance.choice(letters)}{chance.randrange(100):02d}"
        return call + chance.choice(letters) + chance.choice(letters), square

    def _spoilt(self, line: bytes) -> bytes:
        chance = self._chance
        how, at = chance.random(), chance.randrange(len(line))
        if how < 0.35:
            spoilt = line[:at] + chance.choice(HOSTILE) + line[at:]
        elif how < 0.55:
            spoilt = line[:at] + line[at + chance.randrange(1, 12) :]
        elif how < 0.75:
            spoilt = line[:at] + bytes((chance.randrange(256),)) + line[at + 1 :]
        elif how < 0.85:
            words = line.split(b" ")
            chance.shuffle(words)
            spoilt = b" ".join(words)
        elif how < 0.9:
            spoilt = line * chance.randrange(2, 100)
        else:
            spoilt = chance.randbytes(chance.randrange(120))
        return spoilt.replace(b"\n", b"")


LAYOUTS = (
    Layout.compile(LAYOUT),
    Layout.compile("{utc:%H%M%S} {snr_db} {dt_s} {audio_hz} {message}"),
    Layout.compile("json", {"utc": "/t", "snr_db": "/snr", "audio_hz": "/hz", "message": "/text"}),
)


# --- through the daemon's parts ---------------------------------------------------------------------


class Station:
    """What the daemon does with the lines of its sources, without threads."""

    def __init__(self) -> None:
        self.sent = 0
        self._buffer = LineBuffer()
        self._readers = [LayoutReader(layout, "rx") for layout in LAYOUTS]
        self._live = LiveWatch(WatchSettings(HOME), EventClock(START_S, 0.0))
        self._publisher = Publisher(Topics("7f3a9c01d2e4"), "boot", self._check, lambda: START_S)
        self._changes: list[Change] = []

    def hear(self, slot: Slot, chance: random.Random) -> int:
        """Read a slot, in bites of any size; how many lines were read that had not been spoilt."""
        now_s, read = slot.at_s - START_S, set()
        cuts = sorted(chance.randrange(len(slot.text)) for _ in range(3))
        for begin, end in zip((0, *cuts), (*cuts, len(slot.text)), strict=True):
            texts = tuple(self._buffer.feed(slot.text[begin:end]))
            batch = LineBatch("rx", texts, None, True)
            for text, found in zip(texts, self._readers[slot.kind].read_batch(batch, slot.at_s), strict=True):
                if isinstance(found, Decode):
                    read.add(text)
                    self._changes += self._live.feed(found, True, now_s, 0.0)
                else:
                    self._live.reject()
        self._changes += self._live.settle()
        return len(slot.good & read)

    def tell(self, now_s: float) -> None:
        """Publish how things stand."""
        bulletin = self._live.bulletin()
        assert clean_text(bulletin.because) == bulletin.because
        changes, self._changes = self._changes, []
        self._publisher.changed("6m", changes, bulletin, now_s)
        self._publisher.time_passed(now_s, [bulletin], lambda: NodeHealth("0", now_s, bulletin.parts, 0, 0))
        self._live.recent.take_lines()

    def _check(self, message: MqttMessage) -> None:
        """Nothing leaves that a terminal, a broker or a browser would take for an instruction."""
        self.sent += 1
        assert TOPIC.fullmatch(message.topic), message
        text = message.payload.decode("ascii")
        assert text.isprintable(), message
        if text.startswith("{"):
            assert all(clean_text(each, len(each) + 1) == each for each in _texts(json.loads(text))), message


def _texts(value: object) -> list[str]:
    """All texts in a JSON value."""
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [text for key, each in value.items() for text in (key, *_texts(each))]
    return [text for each in value for text in _texts(each)] if isinstance(value, list) else []


def fuzzed(lines: int, seed: int = 6, say: Callable[[int], None] = lambda lines: None) -> Row:
    """So many lines, slot after slot, up to the first that is not survived."""
    chance, station, lost, first_mib = random.Random(seed), Station(), 0, 0.0
    slots = lines // LINES_A_SLOT
    for number in range(slots):
        slot = Slot(number, chance)
        try:
            lost += len(slot.good) - station.hear(slot, chance)
            if number % TELL_EVERY_SLOTS == 0:
                station.tell(slot.at_s - START_S)
        except Exception as error:  # noqa: BLE001 - whatever a line makes us raise
            why = f"seed {seed}, slot {number}: {type(error).__name__}: {ascii(str(error))[:200]}"
            return Row(lines, number * LINES_A_SLOT, lost, None, why)
        if number == min(WARM_SLOTS, slots // 2):
            first_mib = resident_mib()
        if number % 10_000 == 0:
            say(number * LINES_A_SLOT)
    grown_mib = resident_mib() - first_mib
    note = f"{station.sent:,} messages published, {grown_mib:+.0f} MiB resident"
    return Row(lines, lines if grown_mib < MOST_GROWTH_MIB else 0, lost, None, note)


FAULTS: Faults = {"fuzzed lines": lambda is_long: fuzzed(10**7 if is_long else 10**4)}
