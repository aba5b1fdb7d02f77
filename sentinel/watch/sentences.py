"""The sentences that people read: why the state is what it is, with the numbers that decided it."""

from collections.abc import Sequence

from sentinel.watch.bulletin import Mode
from sentinel.watch.opening import sure_of
from sentinel.watch.track import Track

_POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
MODE_WORDS = {
    Mode.SPORADIC_E: "sporadic E",
    Mode.MULTI_HOP_SPORADIC_E: "sporadic E in several hops",
    Mode.F2: "F2",
    Mode.TRANSEQUATORIAL: "transequatorial",
    Mode.METEOR_SCATTER: "meteor scatter",
    Mode.AURORA: "aurora",
    Mode.TROPO: "tropo",
    Mode.UNKNOWN: "mode unknown",
}


def compass_point(bearing_deg: float) -> str:
    """The nearest of the eight points: 0 is north, 90 east."""
    return _POINTS[round(bearing_deg / 45.0) % 8]


def minutes(seconds: float) -> str:
    """A span as people say it."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 120 * 60:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"


def stations(count: int) -> str:
    return "1 far station" if count == 1 else f"{count} far stations"


def reach(live: Sequence[Track]) -> str:
    """From how far these stations come."""
    distances = [track.place.distance_km for track in sure_of(live)]
    return between_km(min(distances), max(distances))


def between_km(nearest_km: float, farthest_km: float) -> str:
    """One distance or a range, km."""
    if round(nearest_km) == round(farthest_km):
        return f"{nearest_km:.0f} km"
    return f"{nearest_km:.0f} to {farthest_km:.0f} km"


def quiet(at_s: float, near_stations: int, last_far_at_s: float | None) -> str:
    """Nothing far is coming through; what shows that the receiver works."""
    if last_far_at_s is not None and at_s - last_far_at_s < 60:
        heard = "Only brief pings come from afar"
    else:
        since = "" if last_far_at_s is None else f" for {minutes(at_s - last_far_at_s)}"
        heard = f"Nothing far has been heard{since}"
    if near_stations == 0:
        return f"{heard}."
    locals_ = "1 local station shows" if near_stations == 1 else f"{near_stations} local stations show"
    return f"{heard}; {locals_} that the receiver works."


def neighbours_hear(open_count: int, of: int, within_km: float, bearing_deg: float) -> str:
    """Nothing far is coming through, but it is for others."""
    verb = "is" if open_count == 1 else "are"
    where = f"within {within_km:.0f} km {verb} open to the {compass_point(bearing_deg)}"
    return f"Neighbours: {open_count} of {of} {where}; you hear nothing."


def lower_band_reaches(freq_mhz: float, skip_km: float, muf_mhz: float, bearing_deg: float) -> str:
    """Nothing far is coming through, but a lower band's skip says that it may."""
    return (
        f"{freq_mhz:.0f} MHz skip of {skip_km:.0f} km: MUF about {muf_mhz:.0f} MHz "
        f"to the {compass_point(bearing_deg)}; you hear nothing far here yet."
    )


def stirring(live: Sequence[Track], bearing_deg: float, at_s: float) -> str:
    """Something far is coming through, but it is not an opening."""
    if len(live) == 1:
        track = live[0]
        times = {1: "once", 2: "twice"}.get(len(track.slots), f"{len(track.slots)} times")
        span_s = at_s - track.slots[0]
        within = f" in {minutes(span_s)}" if len(track.slots) > 1 and span_s > 0 else ""
        return (
            f"{track.call}, {track.place.distance_km:.0f} km to the {compass_point(bearing_deg)}, "
            f"was heard {times}{within}; one station is not an opening."
        )
    last_s = max(t.last_at_s for t in live)
    ago = "" if at_s - last_s < 60 else f", the last {minutes(at_s - last_s)} ago"
    return (
        f"{stations(len(live)).capitalize()} to the {compass_point(bearing_deg)} ({reach(live)}){ago}: "
        "not enough for an opening."
    )


def opened(live: Sequence[Track], bearing_deg: float, at_s: float, usual_per_hour: float, mode: Mode) -> str:
    """Why an area is open: how many, how often, from where, against what is usual."""
    again = sum(1 for t in live if len(t.slots) > 1)
    first_s = min(t.slots[0] for t in live)
    where = f"{compass_point(bearing_deg)} ({round(bearing_deg) % 360}°, {reach(live)})"
    if len(live) == 1:
        return (
            f"{live[0].call}, {live[0].place.distance_km:.0f} km to the {compass_point(bearing_deg)} "
            f"({round(bearing_deg) % 360}°), was heard in {len(live[0].slots)} slots: "
            "no ping reaches that far."
        )
    span_s = at_s - first_s
    within = f" within {minutes(span_s)}" if span_s > 0 else ""
    return (
        f"{stations(len(live)).capitalize()} from the {where}{within}, {again} of them more than once, "
        f"where {usual_per_hour:.0f} an hour are usual: {MODE_WORDS[mode]}."
    )


def still_open(live: Sequence[Track], bearing_deg: float, open_s: float, silent_s: float, mode: Mode) -> str:
    """How an opening stands after its first minute."""
    where = f"{compass_point(bearing_deg)} ({round(bearing_deg) % 360}°"
    if not live:
        return f"The opening to the {where}) has been silent for {minutes(silent_s)}."
    ago = "" if silent_s < 60 else f", the last {minutes(silent_s)} ago"
    return (
        f"{stations(len(live)).capitalize()} from the {where}, {reach(live)}){ago}, "
        f"open for {minutes(open_s)}: {MODE_WORDS[mode]}."
    )
