"""What is said on the air: the CQ, and the lines of a QSO from the answer on, in the forms of FT8 and FT4.

The forms are those of Franke, Somerville and Taylor, 'The FT4 and FT8 Communication Protocols' (QEX
July/August 2020), table 1, from memory. A compound call with a prefix or a long suffix leaves no room for a
locator, and the far end is then sent as a hash, which a decoder shows in angle brackets.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from sentinel.rehearsal.population import Station

_DIRECTIONS = ("DX", "NA", "EU", "SA", "AS", "AF", "OC", "JA")
_SECTIONS = ("WI", "EMA", "NFL", "GA", "VA", "ONE", "MAR", "STX")
_STATES = ("MA", "FL", "TX", "OH", "WI", "GA")


class Style(StrEnum):
    """How an operator works: everyday, or by the exchange of a contest."""

    PLAIN = "plain"
    LOCATOR_CONTEST = "locator-contest"
    FIELD_DAY = "field-day"
    SERIAL_CONTEST = "serial-contest"
    STATE_CONTEST = "state-contest"


@dataclass(frozen=True, slots=True)
class Voice:
    """One end of a QSO. ``station`` None is somebody who is not heard here and sends nothing to us."""

    call: str
    station: Station | None
    audio_hz: int

    @property
    def has_compound_call(self) -> bool:
        """A call that a standard message cannot hold: a prefix in front, or more than /P or /R behind."""
        return "/" in self.call and not self.call.endswith(("/P", "/R"))

    @property
    def square(self) -> str:
        """The locator that the voice sends; one that is not heard sends none that matters."""
        return self.station.square if self.station else "AA00"

    @property
    def locator(self) -> str:
        """The six characters that one contest exchanges."""
        return (self.station.locator if self.station else "AA00aa").upper()


Line = tuple[Voice, str]


def cq(voice: Voice, style: Style, rng: random.Random) -> str:
    """One call to anybody, sometimes directed."""
    if voice.has_compound_call:
        return f"CQ {voice.call}"
    direction = _CONTEST_CQ.get(style) or _direction(rng)
    return " ".join(word for word in ("CQ", direction, voice.call, voice.square) if word)


def qso(caller: Voice, answerer: Voice, style: Style, rng: random.Random) -> list[Line]:
    """The lines after the CQ, in turns, the answerer first."""
    if caller.has_compound_call or answerer.has_compound_call:
        return _with_hashes(caller, answerer, rng)
    return _QSO[style](caller, answerer, rng)


def report(rng: random.Random) -> str:
    """A signal report as it is sent: two digits, signed."""
    return f"{max(-24, min(25, round(rng.gauss(-9.0, 8.0)))):+03d}"


def _direction(rng: random.Random) -> str:
    if rng.random() < 0.12:
        return rng.choice(_DIRECTIONS)
    return str(rng.randint(100, 399)) if rng.random() < 0.01 else ""


def _plain(a: Voice, b: Voice, rng: random.Random) -> list[Line]:
    to_a, to_b = f"{a.call} {b.call}", f"{b.call} {a.call}"
    roger = "RR73" if rng.random() < 0.8 else "RRR"
    if rng.random() < 0.15:  # some answer with the report and leave the locator out
        return [
            (b, f"{to_a} {report(rng)}"),
            (a, f"{to_b} R{report(rng)}"),
            (b, f"{to_a} {roger}"),
            (a, f"{to_b} 73"),
        ]
    lines = [
        (b, f"{to_a} {b.square}"),
        (a, f"{to_b} {report(rng)}"),
        (b, f"{to_a} R{report(rng)}"),
        (a, f"{to_b} {roger}"),
    ]
    return [*lines, (b, f"{to_a} 73")] if rng.random() < 0.75 else lines


def _locator_contest(a: Voice, b: Voice, rng: random.Random) -> list[Line]:
    lines = [(b, f"{a.call} {b.call} {b.square}"), (a, f"{b.call} {a.call} R {a.square}")]
    lines.append((b, f"{a.call} {b.call} RR73"))
    return [*lines, (a, f"{b.call} {a.call} 73")] if rng.random() < 0.5 else lines


def _field_day(a: Voice, b: Voice, rng: random.Random) -> list[Line]:
    def exchange() -> str:
        return f"{rng.randint(1, 9)}{rng.choice('ABCDE')} {rng.choice(_SECTIONS)}"

    lines = [(b, f"{a.call} {b.call} {exchange()}"), (a, f"{b.call} {a.call} R {exchange()}")]
    return [*lines, (b, f"{a.call} {b.call} RR73")]


def _serial_contest(a: Voice, b: Voice, rng: random.Random) -> list[Line]:
    def exchange(voice: Voice) -> str:
        return f"57{rng.randint(1, 999):04d} {voice.locator}"

    lines = [(b, f"<{a.call}> <{b.call}> {exchange(b)}"), (a, f"<{b.call}> <{a.call}> R {exchange(a)}")]
    return [*lines, (b, f"{a.call} {b.call} RR73")]


def _state_contest(a: Voice, b: Voice, rng: random.Random) -> list[Line]:
    thanks = "TU; " if rng.random() < 0.3 else ""
    lines = [(b, f"{a.call} {b.call} 579 {rng.choice(_STATES)}")]
    lines.append((a, f"{thanks}{b.call} {a.call} R 559 {rng.randint(1, 900):04d}"))
    return [*lines, (b, f"{a.call} {b.call} RR73")]


def _with_hashes(a: Voice, b: Voice, rng: random.Random) -> list[Line]:
    def shown(voice: Voice) -> str:
        return f"<{voice.call}>" if voice.has_compound_call else voice.call

    def last(sender: Voice, receiver: Voice, word: str) -> str:
        whole = sender.call if sender.has_compound_call else shown(sender)
        return f"<{receiver.call}> {whole} {word}"

    return [
        (b, f"{shown(a)} {shown(b)} {report(rng)}"),
        (a, f"{shown(b)} {shown(a)} R{report(rng)}"),
        (b, last(b, a, "RRR")),
        (a, last(a, b, "73")),
    ]


_CONTEST_CQ = {
    Style.LOCATOR_CONTEST: "TEST",
    Style.FIELD_DAY: "FD",
    Style.SERIAL_CONTEST: "TEST",
    Style.STATE_CONTEST: "RU",
}
_QSO: dict[Style, Callable[[Voice, Voice, random.Random], list[Line]]] = {
    Style.PLAIN: _plain,
    Style.LOCATOR_CONTEST: _locator_contest,
    Style.FIELD_DAY: _field_day,
    Style.SERIAL_CONTEST: _serial_contest,
    Style.STATE_CONTEST: _state_contest,
}
