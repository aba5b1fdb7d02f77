"""Two calls and what follows them: locator, report, acknowledgement, or a contest's exchange.

The second call transmits. Message types 0.1 to 0.4 and 1 to 5 of Franke, Somerville and Taylor, 'The FT4
and FT8 Communication Protocols', QEX July/August 2020 (from memory).
"""

import re
from functools import lru_cache
from typing import NamedTuple

from sentinel.trade.callsign import Call, parse_call
from sentinel.trade.locator import is_locator, normalize
from sentinel.trade.message_types import Kind, Message, message_sent_by

_REPORT = re.compile(r"(R?)([+-][0-9]{1,2})")
_FIELD_DAY_CLASS = re.compile(r"(?:[1-9]|[12][0-9]|3[0-2])[A-F]")  # 1 to 32 transmitters
_SECTION = re.compile(r"[A-Z]{2,3}")
_RST = re.compile(r"5[1-9]9")
_STATE_OR_SERIAL = re.compile(r"[A-Z]{2,3}|[0-9]{1,4}")
_RS_AND_SERIAL = re.compile(r"5[1-9][0-9]{4}")
_HASHED = re.compile(r"<(?:[A-Z0-9/]{3,11}|\.\.\.)>")


class _Exchange(NamedTuple):
    """``sent`` is a contest's exchange word for word, with its R but without the locator; None elsewhere."""

    kind: Kind
    locator: str | None = None
    report_db: int | None = None
    sent: str | None = None


_CALLS_ONLY = _Exchange(Kind.CALL)
_FIXED = {
    "RRR": _Exchange(Kind.ACKNOWLEDGEMENT),
    "RR73": _Exchange(Kind.ACKNOWLEDGEMENT),
    "73": _Exchange(Kind.FAREWELL),
}


def own_locator(word: str) -> str | None:
    """The locator that ``word`` is, or None.

    RR73 is never one: its square is open sea in the Arctic, and everybody who sends it acknowledges.
    """
    return normalize(word) if is_locator(word) and word != "RR73" else None


def read_two_calls(words: list[str]) -> Message | None:
    """A message from the second of two calls, or None.

    ``TU;`` before the calls thanks a third station. One call before a European VHF exchange sends it itself.
    """
    if words[0] == "TU;":
        words = words[1:]
    if len(words) < 2:
        return None
    first, second = words[:2]
    if second == "RR73;":
        return _read_dxpedition(words)
    if first[0] == "<" and first[-1] != ">" and second[-1] == ">":  # <K1ABC W9XYZ> R+03: one hash for both
        first, second = first + ">", "<" + second
    addressee = parse_call(first)
    if addressee is None and not _HASHED.fullmatch(first):
        return None
    if second != "R" and not second.isdigit():
        exchange = _read_exchange(words[2:])
        if exchange is None or not may_be_call(second):
            return None
        if exchange is _CALLS_ONLY and is_locator(second) and first[0] != "<":
            return None  # K1ABC FN42AB: a station and where it is, rather than a call from FN42AB
        if addressee is not None and addressee.text == second.strip("<>"):
            addressee = None  # a call sent twice, as in Morse
        return _message(second, addressee, exchange)
    exchange = _read_exchange(words[1:])
    return _message(first, None, exchange) if exchange and exchange.kind is Kind.VHF_CONTEST else None


def may_be_call(word: str) -> bool:
    """True for a well-formed call and for a hash in angle brackets, resolved or not."""
    return parse_call(word) is not None or _HASHED.fullmatch(word) is not None


def _message(sender: str, addressee: Call | None, exchange: _Exchange) -> Message:
    kind, locator, report_db, sent = exchange
    return message_sent_by(
        sender, kind, addressee=addressee, locator=locator, report_db=report_db, exchange=sent
    )


def _read_dxpedition(words: list[str]) -> Message | None:
    """``K1ABC RR73; W9XYZ <KH1/KH7Z> -08``: the third call sends, its report is for the second."""
    if len(words) < 5 or not (may_be_call(words[0]) and may_be_call(words[2]) and may_be_call(words[3])):
        return None
    report = _REPORT.fullmatch(words[4])
    if report is None or report[1]:
        return None
    return message_sent_by(
        words[3], Kind.DXPEDITION, addressee=parse_call(words[2]), report_db=int(report[2])
    )


def _read_exchange(words: list[str]) -> _Exchange | None:
    """What the words behind the calls say, or None; words beyond a complete exchange are ignored."""
    if not words:
        return _CALLS_ONLY
    if exchange := _read_usual(words[0]):
        return exchange
    if words[0] == "R":
        return _read_rogered(words[1:])
    return _read_contest(words)


@lru_cache(maxsize=1024)
def _read_usual(word: str) -> _Exchange | None:
    """An exchange of one word: acknowledgement, report, locator; or None."""
    if word in _FIXED:
        return _FIXED[word]
    if report := _REPORT.fullmatch(word):
        return _Exchange(Kind.ROGER_REPORT if report[1] else Kind.REPORT, report_db=int(report[2]))
    locator = own_locator(word)
    return _Exchange(Kind.REPLY, locator) if locator else None


def _read_rogered(words: list[str]) -> _Exchange | None:
    if not words:
        return None
    if locator := own_locator(words[0]):
        return _Exchange(Kind.ROGER_LOCATOR, locator)
    contest = _read_contest(words)
    return contest and contest._replace(sent=f"R {contest.sent}")


def _read_contest(words: list[str]) -> _Exchange | None:
    """Field day (6A WI), RTTY round-up (579 MA, 579 0013), European VHF contest (570007 JO22DB), or None."""
    if len(words) < 2:
        return None
    first, second = words[:2]
    if _RS_AND_SERIAL.fullmatch(first) and len(second) == 6 and is_locator(second):
        return _Exchange(Kind.VHF_CONTEST, normalize(second), sent=first)
    if _FIELD_DAY_CLASS.fullmatch(first) and _SECTION.fullmatch(second):
        return _Exchange(Kind.FIELD_DAY, sent=f"{first} {second}")
    if _RST.fullmatch(first) and _STATE_OR_SERIAL.fullmatch(second):
        return _Exchange(Kind.RTTY_ROUNDUP, sent=f"{first} {second}")
    return None
