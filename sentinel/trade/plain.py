"""Morse and beacons, as a decoder prints them: nothing but words (common practice, no source)."""

import re

from sentinel.trade.calling import locator_behind
from sentinel.trade.callsign import parse_call
from sentinel.trade.locator import is_locator
from sentinel.trade.message_types import Kind, Message, message_sent_by

_KEYING = re.compile(r"V{1,3}")  # VVV: a beacon, or a transmitter under test
# What ends a transmission or hands over, and reports by ear.
_PROCEDURE = frozenset({"K", "KN", "AR", "SK", "BK", "R", "TU", "TEST", "73", "59", "599", "5NN"})
_MOST_WORDS_BEFORE_DE = 6  # VVV VVV VVV DE; VE1QZZ VE1QZZ VE1QZZ DE


def read_plain(words: list[str]) -> Message | None:
    """A beacon's text, or Morse from a station that names itself, or None."""
    keyed = 0
    while keyed < len(words) and _KEYING.fullmatch(words[keyed]):
        keyed += 1
    words = words[keyed:]
    if "DE" in words[: _MOST_WORDS_BEFORE_DE + 1]:
        return _read_introduced(words, is_keyed=keyed > 0)
    if words and words[0] == "TEST":
        return _read_named(words[1:], Kind.CQ, modifier="TEST")
    return _read_named(words, Kind.BEACON if keyed else Kind.CALL)


def _read_introduced(words: list[str], *, is_keyed: bool) -> Message | None:
    """``VE1QZZ DE DL5QAB ...``, ``73 DE DL5QAB``: the call behind DE sends; one before it is meant."""
    before, behind = words[: words.index("DE")], words[words.index("DE") + 1 :]
    addressee = parse_call(before[0]) if before else None
    if not behind or parse_call(behind[0]) is None:
        return None
    kind = Kind.BEACON if is_keyed else Kind.CALL
    return message_sent_by(
        behind[0], kind, addressee=addressee, locator=locator_behind(behind[0], behind[1:])
    )


def _read_named(words: list[str], kind: Kind, modifier: str | None = None) -> Message | None:
    """A call, sent any number of times, then nothing, a locator or the end of the transmission."""
    call = parse_call(words[0]) if words else None
    if call is None or is_locator(words[0]):
        return None
    locator = locator_behind(words[0], words[1:])
    is_all_read = all(word == words[0] or word in _PROCEDURE for word in words)
    if not (is_all_read or locator or call.is_beacon or kind is Kind.BEACON):
        return None
    return message_sent_by(words[0], kind, locator=locator, cq_modifier=modifier)
