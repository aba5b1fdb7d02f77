"""Areas as stations come and go."""

from nights import BEYOND_4000_KM, HOME, SOUTH_WEST

from sentinel.trade.callsign import parse_call
from sentinel.watch.grouping import Grouping
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.place import Gazetteer
from sentinel.watch.track import Track


def track(call: str, locator: str) -> Track:
    sender = parse_call(call)
    assert sender is not None
    place = Gazetteer(HOME, Knowledge()).locate(sender, locator)
    assert place is not None
    return Track(sender, place, 15.0, 900.0, first_at_s=0.0, last_at_s=0.0)


def test_an_area_that_its_last_station_has_left_is_gone() -> None:
    """It has no direction any more, so nothing could be merged with it."""
    grouping = Grouping()
    area, _ = grouping.place(track(*SOUTH_WEST[0]), 0.0)
    other, _ = grouping.place(track(*BEYOND_4000_KM), 0.0)
    grouping.leave(SOUTH_WEST[0][0])
    assert grouping.merge_neighbours() == []
    assert grouping.areas == [other]
    assert grouping.may_belong(track(*SOUTH_WEST[1])) is None
    again, is_new = grouping.place(track(*SOUTH_WEST[0]), 60.0)
    assert is_new and again is not area
