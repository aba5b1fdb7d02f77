"""Messages: who was heard, what they said of themselves, or why a text names nobody.

Any text at all gives either a sender or one reason that can be counted. The rules:

- after CQ, QRZ or DE the sender is the call behind the modifier, if there is one;
- of two calls the second transmits, except in the message that ends one contact and reports to another
  (type 0.1), where the third does;
- WSPR and beacons name only themselves;
- a locator is always the sender's; RR73 never is one;
- an unresolved hash (``<...>``) names nobody.

Each reader returns None for what is not its kind; the first that returns a message wins.
"""

import re
from collections.abc import Callable
from functools import lru_cache

from sentinel.trade.calling import CALLING, read_calling
from sentinel.trade.exchange import may_be_call, read_two_calls
from sentinel.trade.locator import is_locator
from sentinel.trade.message_types import Kind, Message, Rejection
from sentinel.trade.plain import read_plain
from sentinel.trade.wspr import read_wspr

__all__ = ["Kind", "Message", "Rejection", "parse_message"]

# The longest message of the trade has some 40 characters; the rest is room for what decoders print behind.
_LONGEST_TEXT = 200
_LONGEST_MODE = 16
_MOST_ANNOTATIONS = 4

_BLANKS = re.compile(r" {2,}")
_TELEMETRY = re.compile(r"[0-9A-F]{12,18}")  # 71 bits, with or without leading zeros
_NEARLY_A_CALL = re.compile(r"(?=.*[0-9])(?=.*[A-Z])[A-Z0-9/]{4,}")

_Reader = Callable[[list[str]], Message | None]
_STRUCTURED: tuple[_Reader, ...] = (read_calling, read_two_calls)
_WSPR: tuple[_Reader, ...] = (read_wspr,)
_ANY: tuple[_Reader, ...] = (read_calling, read_two_calls, read_wspr, read_plain)
# What each mode can carry. Any other mode, and none: everything.
_READERS = {"FT8": _STRUCTURED, "FT4": _STRUCTURED, "WSPR": _WSPR, "FST4W": _WSPR}

_TOO_LONG = Message(Kind.UNREADABLE, rejection=Rejection.TOO_LONG)


def parse_message(text: str, mode: str | None = None) -> Message:
    """Read one decoded message; never raises, whatever the text.

    ``mode`` (FT8, FT4, WSPR ...) narrows what the text can be; an unknown or missing mode allows every
    message of the trade, Morse and beacons included. Words behind a complete message are taken for the
    decoder's annotations, and so is anything behind two or more blanks if the text makes no sense with it.
    """
    if len(text) > _LONGEST_TEXT:  # before the cache, so that no huge text is kept there
        return _TOO_LONG
    readers = _ANY
    if mode is not None and len(mode) <= _LONGEST_MODE:
        readers = _READERS.get(mode.strip().upper(), _ANY)
    return _parse(text, readers)


@lru_cache(maxsize=4096)
def _parse(text: str, readers: tuple[_Reader, ...]) -> Message:
    text = text.replace("\t", "  ").strip()
    if not text:
        return Message(Kind.UNREADABLE, rejection=Rejection.EMPTY)
    if not text.isprintable():
        return Message(Kind.UNREADABLE, rejection=Rejection.UNPRINTABLE)
    if not text.isascii():
        # Nothing outside ASCII can belong to a message, and upper() would turn some of it into ASCII letters.
        text = text.encode("ascii", "replace").decode("ascii")
    text = text.upper()
    words = text.split()
    message = _read(words, readers)
    if message is None and "  " in text:
        message = _read_without_annotations(text, readers)
    return message or _why_nobody(words)


def _read(words: list[str], readers: tuple[_Reader, ...]) -> Message | None:
    for reader in readers:
        message = reader(words)
        if message is not None:
            return message
    return None


def _read_without_annotations(text: str, readers: tuple[_Reader, ...]) -> Message | None:
    """Read again without what stands behind a run of blanks, the last run first.

    The other way round, ``K1ABC  W9XYZ  ?`` in columns would become a call from its addressee.
    """
    columns = _BLANKS.split(text)
    for end in range(len(columns) - 1, max(0, len(columns) - 1 - _MOST_ANNOTATIONS), -1):
        message = _read(" ".join(columns[:end]).split(), readers)
        if message is not None:
            return message
    return None


def _why_nobody(words: list[str]) -> Message:
    if len(words) == 1 and _TELEMETRY.fullmatch(words[0]):
        return Message(Kind.TELEMETRY, rejection=Rejection.TELEMETRY)
    is_calling = words[0] in CALLING
    calls = words[1:3] if is_calling else words[:2]
    well_formed = sum(may_be_call(word) for word in calls)
    malformed = sum(not may_be_call(word) and _is_nearly_a_call(word) for word in calls)
    if malformed and (is_calling or well_formed + malformed == 2):
        return Message(Kind.UNREADABLE, rejection=Rejection.MALFORMED_CALL)
    if well_formed == 2:
        return Message(Kind.UNREADABLE, rejection=Rejection.UNKNOWN_EXCHANGE)
    return Message(Kind.FREE_TEXT, rejection=Rejection.FREE_TEXT)


def _is_nearly_a_call(word: str) -> bool:
    return _NEARLY_A_CALL.fullmatch(word) is not None and not is_locator(word)
