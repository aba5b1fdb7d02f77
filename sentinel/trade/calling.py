"""CQ, QRZ and DE: a station that names itself first."""

import re

from sentinel.trade.exchange import may_be_call, own_locator
from sentinel.trade.message_types import Kind, Message, message_sent_by

CALLING = {"CQ": Kind.CQ, "QRZ": Kind.QRZ, "DE": Kind.CALL}
# Three digits (a frequency in kHz) or up to four letters (DX, EU, TEST, POTA). Neither can be a call.
_MODIFIER = re.compile(r"[0-9]{3}|[A-Z]{1,4}")
_MOST_WORDS_BEFORE_CALL = 6  # CQ CQ CQ DX DX DE, in Morse


def read_calling(words: list[str]) -> Message | None:
    """A message from the first call behind CQ, QRZ or DE and any modifier, or None."""
    kind = CALLING.get(words[0])
    if kind is None:
        return None
    modifier = None
    for index, word in enumerate(words[1 : 2 + _MOST_WORDS_BEFORE_CALL], start=2):
        if may_be_call(word):
            return message_sent_by(
                word,
                kind,
                locator=locator_behind(word, words[index:]),
                cq_modifier=modifier if kind is Kind.CQ else None,
            )
        if word in CALLING:
            continue
        if not _MODIFIER.fullmatch(word):
            return None
        modifier = modifier or word
    return None


def locator_behind(call: str, words: list[str]) -> str | None:
    """The locator that follows a call, which may be sent twice first; None when something else follows."""
    for word in words[:3]:
        if word != call:
            return own_locator(word)
    return None
