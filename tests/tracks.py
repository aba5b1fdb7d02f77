"""Far stations and their areas made by hand, for tests of one rule at a time. Home is that of ``nights``."""

from collections.abc import Iterable

from nights import HOME, SLOT_S

from sentinel.trade.callsign import parse_call
from sentinel.watch.area import Area
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.place import Gazetteer, Place
from sentinel.watch.track import Track

WINDOW_S = 900.0

# 564 to 642 km: far, and near enough for an aircraft.
SHORT = (("W1QAA", "FN42"), ("W1QAB", "FN43"), ("W1QAC", "FN41"), ("W1QAD", "FN44"), ("VE2QAE", "FN58"))
# 2,850 to 3,130 km: beyond any meteor trail, and short of 4,000 km.
BEYOND_METEORS = (("KP4QAA", "FK68"), ("HI8QAB", "FK58"), ("CU3QAC", "HM68"))


def place_of(call: str, locator: str | None = None, home: str = HOME) -> Place:
    """Where the station is as seen from ``home``; without a locator the centre of its prefix's area."""
    sender = parse_call(call)
    assert sender is not None
    place = Gazetteer(home, Knowledge()).locate(sender, locator)
    assert place is not None
    return place


def heard_at(
    station: tuple[str, str | None],
    *times_s: float,
    snr_db: float = -5.0,
    slot_s: float = SLOT_S,
    trust: float = 0.99,
) -> Track:
    """``station``, a call and its locator or None, heard in the slots that begin at ``times_s``."""
    sender = parse_call(station[0])
    assert sender is not None
    track = Track(sender, place_of(*station), slot_s, WINDOW_S, first_at_s=times_s[0], last_at_s=times_s[0])
    track.trust = trust
    track.is_credible = True
    track.is_repeated = len(times_s) > 1
    for at_s in times_s:
        track.hear(at_s, at_s, snr_db, None)
    return track


def area_of(tracks: Iterable[Track], *, evidence: float = 0.0, at_s: float = 0.0) -> Area:
    """An area of these stations, with so much evidence as of ``at_s``."""
    area = Area(1, founded_at_s=0.0, evidence=evidence, evidence_at_s=at_s)
    for track in tracks:
        area.join(track)
        area.slots.update(track.slots)
        area.last_at_s = max(area.last_at_s, track.last_at_s)
    return area
