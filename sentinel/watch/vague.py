"""Stations that may be far: their prefix reaches from near to far, and they have not said where they are.

They found nothing and prove nothing. But once one of them gives its locator, what it sent before counts too.
"""

from collections import OrderedDict, deque

from sentinel.watch.decode import Decode

MOST_STATIONS = 1_000
KEPT_DECODES = 8


class Vague:
    """The latest decodes of such stations, in bounded memory."""

    def __init__(self) -> None:
        self._heard: OrderedDict[str, deque[Decode]] = OrderedDict()

    def note(self, call: str, decode: Decode) -> None:
        """``call`` was heard, somewhere."""
        self._heard.setdefault(call, deque(maxlen=KEPT_DECODES)).append(decode)
        self._heard.move_to_end(call)
        if len(self._heard) > MOST_STATIONS:
            self._heard.popitem(last=False)

    def take(self, call: str, since_s: float) -> list[Decode]:
        """What ``call``, whose place is known now, has sent since a time; it is vague no longer."""
        return [decode for decode in self._heard.pop(call, ()) if decode.at_s >= since_s]
