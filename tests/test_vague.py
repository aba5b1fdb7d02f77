"""Stations of a prefix that reaches from near to far, before and after they say where they are.

From San Francisco the seventh call area begins next door, in Nevada, and ends 1,900 km away.
"""

from itertools import permutations

import pytest
from nights import seconds

from sentinel.watch.decode import Decode
from sentinel.watch.settings import WatchSettings
from sentinel.watch.track import Track
from sentinel.watch.vague import KEPT_DECODES, MOST_STATIONS, Vague
from sentinel.watch.watch import Watch

HOME = "CM87vq"
START_S = seconds("2026-06-14T20:00:00")
FAR, NEAR = "DN07", "DM09"


def believed(*messages: str, snr_db: float = -20.0, every_s: float = 30.0) -> dict[str, Track]:
    """The far stations believed after these messages, ``every_s`` apart."""
    watch = Watch(WatchSettings(home_locator=HOME))
    for number, message in enumerate(messages):
        watch.feed(Decode(START_S + every_s * number, message, snr_db=snr_db, mode="FT8"))
    watch.tick(START_S + every_s * len(messages) + 1.0)
    return {call: track for call, track in watch.hearing.tracks.items() if track.is_credible}


def test_without_a_locator_nobody_knows_that_they_are_far() -> None:
    assert believed("CE3QAA W7QBC R-08", "CE3QAA W7QBC RR73") == {}


def test_a_doubted_station_that_has_said_where_it_is_counts_when_it_goes_on() -> None:
    heard = believed(f"CQ W7QBC {FAR}", "CE3QAA W7QBC R-08", "CE3QAA W7QBC RR73")
    assert [len(track.slots) for track in heard.values()] == [3]


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_what_it_sent_before_its_locator_counts_with_it(order: tuple[int, ...]) -> None:
    messages = (f"CQ W7QBC {FAR}", "CE3QAA W7QBC R-08", "CE3QAA W7QBC RR73")
    heard = believed(*(messages[number] for number in order))
    assert [len(track.slots) for track in heard.values()] == [3]


def test_a_neighbour_that_says_so_late_was_never_far() -> None:
    assert believed("CE3QAA W7QBC R-08", "CE3QAA W7QBC RR73", f"CQ W7QBC {NEAR}") == {}


def test_a_locator_outside_the_prefixs_land_places_nobody() -> None:
    assert believed("CQ W7QBC JN58", "CE3QAA W7QBC R-08", snr_db=-5.0) == {}


def test_what_is_remembered_stays_bounded() -> None:
    vague = Vague()
    for number in range(2 * MOST_STATIONS):
        for slot in range(2 * KEPT_DECODES):
            vague.note(f"W7Q{number}", Decode(15.0 * slot, ""))
    assert vague.take("W7Q0", 0.0) == []
    assert len(vague.take(f"W7Q{2 * MOST_STATIONS - 1}", 0.0)) == KEPT_DECODES


def test_what_is_taken_is_no_older_than_asked_and_gone() -> None:
    vague = Vague()
    for at_s in (0.0, 15.0, 30.0):
        vague.note("W7QBC", Decode(at_s, ""))
    assert [decode.at_s for decode in vague.take("W7QBC", 15.0)] == [15.0, 30.0]
    assert vague.take("W7QBC", 0.0) == []
