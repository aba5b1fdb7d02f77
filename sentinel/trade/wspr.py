"""WSPR: a call, where it is, and its power; it names only itself.

Type 1 ``K1ABC FN42 37``, type 2 ``PJ4/K1ABC 37``, type 3 ``<PJ4/K1ABC> FK52UD 37`` (common practice).
"""

import re

from sentinel.trade.exchange import may_be_call, own_locator
from sentinel.trade.locator import is_locator
from sentinel.trade.message_types import Kind, Message, Rejection, message_sent_by

# Powers that a message can say: 0, 3, 7 and so on by tens, up to 60 (PA3FWM, Electron 2015).
LEGAL_POWERS_DBM = frozenset(tens + units for tens in range(0, 60, 10) for units in (0, 3, 7)) | {60}
_POWER = re.compile(r"[0-9]{1,2}")
_ILLEGAL_POWER = Message(Kind.UNREADABLE, rejection=Rejection.ILLEGAL_POWER)
_LEGAL = {str(power): power for power in LEGAL_POWERS_DBM}


def read_wspr(words: list[str]) -> Message | None:
    """A message of WSPR, or None. A locator and a power that WSPR cannot say: a rejection."""
    if len(words) < 2 or not may_be_call(words[0]):
        return None
    if len(words) == 2:
        power_dbm = _LEGAL.get(words[1])
        return None if power_dbm is None else message_sent_by(words[0], Kind.WSPR, power_dbm=power_dbm)
    _, place, power = words[:3]
    if not (len(place) in (4, 6) and is_locator(place) and _POWER.fullmatch(power)):
        return None
    if power in _LEGAL:
        return message_sent_by(words[0], Kind.WSPR, locator=own_locator(place), power_dbm=_LEGAL[power])
    return _ILLEGAL_POWER if len(words) == 3 else None
