"""Why the chances are what they are, in words: season, hour, sun, own record, and what is not known."""

from datetime import UTC, datetime

from sentinel.sky.showers import strongest_shower
from sentinel.watch.outlook_sky import kp_needed

LITTLE_H = 20.0
"""Hours watched at such times below which the own record says next to nothing."""

_ES_NORTH = ((5, 6, 7, 8), "its season, May to August"), ((12, 1), "its minor season, December and January")
_ES_SOUTH = ((11, 12, 1), "its season, November to January"), ((6, 7), "its minor season, June and July")
_EQUINOX_MONTHS = (3, 4, 9, 10)
_F2_NORTH, _F2_SOUTH = (10, 11, 12, 1, 2, 3), (4, 5, 6, 7, 8, 9)


def percent_words(share: float) -> str:
    """A chance as far as it is known: to the point below 10 %, to five points above."""
    if share >= 1.0:
        return "now"
    per_cent = 100.0 * share
    if per_cent < 1.0:
        return "<1 %"
    if per_cent < 10.0:
        return f"{per_cent:.0f} %"
    return ">95 %" if per_cent > 97.5 else f"{5 * round(per_cent / 5):.0f} %"


def hour_words(at_s: float) -> str:
    return f"likeliest about {_utc(at_s):%H} UTC"


def es_words(at_s: float, lat_deg: float) -> str:
    """Where in its year sporadic E stands (the months of Whitehead 1989)."""
    month = _utc(at_s).month
    seasons = _ES_NORTH if lat_deg >= 0 else _ES_SOUTH
    return next((f"in {name}" for months, name in seasons if month in months), "out of season")


def record_words(openings: int, watched_h: float, since_yesterday: int) -> str:
    """What the own record says of these hours and months."""
    lately = "" if not since_yesterday else f"; {since_yesterday} since yesterday"
    if watched_h < LITTLE_H:
        return "no own record of such hours yet" + lately
    count = "no opening" if not openings else "1 opening" if openings == 1 else f"{openings} openings"
    return f"own record: {count} in {watched_h:.0f} h at such hours{lately}"


def f2_words(at_s: float, lat_deg: float, flux: float | None) -> str:
    """Sun and season: 50 MHz needs a flux of about 150 to 200 and more, in the winter half-year."""
    is_winter = _utc(at_s).month in (_F2_NORTH if lat_deg >= 0 else _F2_SOUTH)
    season = "winter half-year" if is_winter else "summer half-year"
    return f"{_flux_words(flux)}; {season}"


def transequatorial_words(at_s: float, home_dip_lat_deg: float, flux: float | None) -> str:
    """Sun, season and direction: it belongs to the months about the equinoxes (Harrison)."""
    season = "near" if _utc(at_s).month in _EQUINOX_MONTHS else "away from"
    side = "southward" if home_dip_lat_deg >= 0 else "northward"
    return f"{_flux_words(flux)}; {season} the equinoxes; {side}, afternoon and evening"


def meteor_words(best_at_s: float, pings_per_h: float) -> str:
    """What the chance is of, and what the calendar says of the best hour."""
    shower = strongest_shower(best_at_s)
    name = "no shower" if shower is None else shower.name
    return f"a ping in six minutes for an hour; {name}, some {pings_per_h:.0f} an hour {_about(best_at_s)}"


def aurora_words(magnetic_lat_deg: float, kp: float | None) -> str:
    """The field now, and what it takes at this latitude."""
    now = "K is not known, so this is the average of a solar cycle" if kp is None else f"K is {kp:.1f} now"
    needed = kp_needed(magnetic_lat_deg)
    if needed is None:
        return f"{now}; here not even K 9 suffices"
    return f"{now}; at {abs(magnetic_lat_deg):.0f}° magnetic it takes about K {needed}"


def _flux_words(flux: float | None) -> str:
    if flux is None:
        return "no solar flux known, so this is the average of a solar cycle"
    if flux < 120.0:
        verdict = "low"
    elif flux < 160.0:
        verdict = "moderate"
    else:
        verdict = "high"
    return f"flux {flux:.0f} is {verdict}"


def _about(at_s: float) -> str:
    return f"about {_utc(at_s):%H} UTC"


def _utc(at_s: float) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)
