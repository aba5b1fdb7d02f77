"""What an opening is told with agrees with itself: stations and distances are those of the same stations."""

import pytest
from diary_samples import opening

from sentinel.outputs.wire import Envelope, opening_event_payload
from sentinel.trade.callsign import parse_call
from sentinel.trade.locator import center_of
from sentinel.watch.changes import OpeningChanged, Phase
from sentinel.watch.decode import Decode
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.mode import NOTHING
from sentinel.watch.opening import OpeningLife
from sentinel.watch.place import Gazetteer
from sentinel.watch.settings import WatchSettings
from sentinel.watch.track import Track
from sentinel.watch.watch import Watch

HOME = "FN84ab"
START_S = 20_618 * 86_400.0 + 15 * 3600.0
SQUARES = {
    "W4QAA": "EM83",
    "K4QAB": "EM84",
    "N4QAC": "EM94",
    "W4QAD": "FM05",
    "K4QAE": "EM95",
    "N4QAF": "EM93",
}


def track(call: str, square: str, *, heard: int, trust: float) -> Track:
    sender = parse_call(call)
    assert sender is not None
    place = Gazetteer(HOME, Knowledge()).locate(sender, square)
    assert place is not None
    found = Track(sender, place, 15.0, 900.0, START_S, START_S, heard=heard)
    found.trust = trust
    return found


def life(tracks: list[Track]) -> OpeningLife:
    living = OpeningLife("x", center_of(HOME), START_S, START_S, START_S)
    living.note(START_S, tracks)
    return living


def distances(tracks: list[Track]) -> tuple[int, int]:
    km = [each.place.distance_km for each in tracks]
    return round(min(km)), round(max(km))


def test_one_sure_station_does_not_speak_for_six() -> None:
    tracks = [track(call, square, heard=1, trust=0.95) for call, square in SQUARES.items()]
    tracks[0].heard = 3
    published = life(tracks).published(50.0, NOTHING)
    assert (published.stations, published.nearest_km, published.farthest_km) == (6, *distances(tracks))


def test_three_sure_stations_do_so_that_a_stray_decode_stretches_nothing() -> None:
    tracks = [track(call, square, heard=3, trust=0.99) for call, square in list(SQUARES.items())[:3]]
    stray = track("DL5QAB", "JN58", heard=1, trust=0.95)
    published = life([*tracks, stray]).published(50.0, NOTHING)
    assert (published.nearest_km, published.farthest_km) == distances(tracks)


def test_an_opening_that_begins_is_told_with_the_distances_of_its_headings() -> None:
    """Six stations in half a minute, the first of them again and again."""
    watch = Watch(WatchSettings(HOME))
    changes = []
    for slot in range(40):
        calls = [call for number, call in enumerate(SQUARES) if slot % 2 == number % 2 and slot >= number]
        for call in calls:
            changes += watch.feed(Decode(START_S + 15.0 * slot, f"CQ {call} {SQUARES[call]}", -5.0, 0.1))
    (began,) = [c for c in changes if isinstance(c, OpeningChanged) and c.phase is Phase.BEGAN]
    places = [Gazetteer(HOME, Knowledge()).locate(parse_call(c), s) for c, s in SQUARES.items()]  # type: ignore[arg-type]
    km = [place.distance_km for place in places if place is not None]
    assert began.opening.stations >= 3
    assert round(min(km)) <= began.opening.nearest_km < began.opening.farthest_km <= round(max(km))


@pytest.mark.parametrize(
    ("nearest_km", "farthest_km", "told"),
    [(1388, 2025, "1388 to 2025 km"), (1597, 1597, "1597 km")],
)
def test_the_sentence_says_a_range_or_one_distance(nearest_km: int, farthest_km: int, told: str) -> None:
    now = opening(nearest_km=nearest_km, farthest_km=farthest_km)
    payload = opening_event_payload("6m", Phase.BEGAN, now, now.began_at_s, Envelope(now.began_at_s, "b", 1))
    assert f"), {told}, sporadic E: 4 far stations." in payload["sentence"]
