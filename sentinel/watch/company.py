"""Who was heard at about the same time: in an opening strangers come from one region together.

One decode without a locator is hardly to be believed; four of them from the same islands within a minute
are, since false decodes fall anywhere.
"""

from collections import OrderedDict
from collections.abc import Iterable

from sentinel.watch.area import are_neighbours
from sentinel.watch.place import separation_km
from sentinel.watch.track import Track
from sentinel.watch.trust import COMPANY_S

MOST_REMEMBERED = 100
"""Where more far stations are heard in a minute, nobody needs to look for company."""


class Company:
    """The far stations of the last ``COMPANY_S``, believed or not."""

    def __init__(self) -> None:
        self._lately: OrderedDict[str, Track] = OrderedDict()

    def note(self, tracks: Iterable[Track], at_s: float) -> None:
        """Take in who was heard at ``at_s``, and forget who has not been heard lately."""
        for track in sorted(tracks, key=lambda track: track.call):
            self._lately[track.call] = track
            self._lately.move_to_end(track.call)
        while self._lately and self._is_over(next(iter(self._lately.values())), at_s):
            self._lately.popitem(last=False)

    def _is_over(self, oldest: Track, at_s: float) -> bool:
        return len(self._lately) > MOST_REMEMBERED or oldest.last_at_s < at_s - COMPANY_S

    def doubted(self) -> list[Track]:
        """Those who are not believed: company that came after them may have changed that."""
        return [track for track in self._lately.values() if not track.is_credible]

    def companions(self, track: Track) -> int:
        """How many others, with a prefix that is allocated, came from where ``track`` comes from."""
        return sum(other is not track and _is_company(track, other) for other in self._lately.values())


def _is_company(track: Track, other: Track) -> bool:
    apart_km = separation_km(track.place.unit, other.place.unit)
    return other.place.is_allocated and are_neighbours(track.place, other.place, apart_km)
