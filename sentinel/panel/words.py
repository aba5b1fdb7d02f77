"""What the panel says, as plain words: no layout and no drawing here, and nothing decided about the band.

Every text that reaches a person through the panel or the terminal passes ``clean`` first: received text is
hostile, and the panel's faces carry only the printable ASCII characters and a few signs of the trade.
"""

import unicodedata
from datetime import UTC, datetime

from sentinel.watch.bulletin import BlindReason, Bulletin, Heading, Mode, Opening

SIGNS = "°–·…"
ALLOWED = frozenset(chr(code) for code in range(0x20, 0x7F)) | frozenset(SIGNS)
LONGEST_TEXT = 400  # more than any sentence of ours; a bound on what a hostile text can make us draw

MODE_WORDS = {
    Mode.SPORADIC_E: "sporadic E",
    Mode.MULTI_HOP_SPORADIC_E: "sporadic E, several hops",
    Mode.F2: "F2 layer",
    Mode.TRANSEQUATORIAL: "transequatorial",
    Mode.METEOR_SCATTER: "meteor scatter",
    Mode.AURORA: "aurora",
    Mode.TROPO: "tropo",
    Mode.UNKNOWN: "mode unclear",
}
MODE_LETTERS = {
    Mode.SPORADIC_E: "Es",
    Mode.MULTI_HOP_SPORADIC_E: "nEs",
    Mode.F2: "F2",
    Mode.TRANSEQUATORIAL: "TEP",
    Mode.METEOR_SCATTER: "MS",
    Mode.AURORA: "Au",
    Mode.TROPO: "Tr",
    Mode.UNKNOWN: "?",
}
BLIND_WORDS = {
    BlindReason.CANARY_SILENT: "Canary not heard",
    BlindReason.SOURCE_GONE: "Source is gone",
    BlindReason.NO_LINES: "No lines come in",
    BlindReason.DECODER_GONE: "Decoder is gone",
    BlindReason.CLOCK_OFF: "Clock is off",
    BlindReason.LOCALS_SILENT: "Locals went silent",
    BlindReason.STARTING: "Just started",
}
POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def clean(text: str) -> str:
    """Fold accents away, turn every other unknown character into ``?`` and runs of blanks into one."""
    folded = unicodedata.normalize("NFKD", text[:LONGEST_TEXT])
    kept = "".join(
        " " if character.isspace() else character if character in ALLOWED else "?"
        for character in folded
        if not unicodedata.combining(character)
    )
    return " ".join(kept.split())


def bearing_words(bearing_deg: float) -> str:
    """Three digits and a degree sign, as bearings are spoken: 7.6 is ``008°``."""
    return f"{round(bearing_deg) % 360:03d}°"


def point_words(bearing_deg: float) -> str:
    """The nearest of the sixteen points of the compass."""
    return POINTS[round(bearing_deg / 22.5) % 16]


def stations_words(count: int) -> str:
    return "1 station" if count == 1 else f"{count} stations"


def reach_words(nearest_km: int, farthest_km: int) -> str:
    """Nearest and farthest distance in km, without the unit, for tables."""
    return str(nearest_km) if nearest_km == farthest_km else f"{nearest_km}–{farthest_km}"


def km_words(nearest_km: int, farthest_km: int) -> str:
    return f"{reach_words(nearest_km, farthest_km)} km"


def age_words(age_s: float | None) -> str:
    """An age in one unit, rounded down, so that it never claims to be older than it is; None is ``never``."""
    if age_s is None:
        return "never"
    for unit, seconds in (("d", 86400), ("h", 3600), ("min", 60)):
        if age_s >= seconds:
            return f"{int(age_s // seconds)} {unit}"
    return f"{int(max(0.0, age_s))} s"


def utc(at_s: float) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)


def time_words(at_s: float) -> str:
    return f"{utc(at_s):%H:%M}"


def date_words(at_s: float) -> str:
    """Day and month without the machine's locale: ``9 Jun``."""
    moment = utc(at_s)
    return f"{moment.day} {MONTHS[moment.month - 1]}"


def since_words(bulletin: Bulletin) -> tuple[str, str]:
    """Since when the state holds, and for how long: with the date when that was not today."""
    held = f"for {age_words(bulletin.at_s - bulletin.since_s)}"
    time = time_words(bulletin.since_s)
    if utc(bulletin.since_s).date() == utc(bulletin.at_s).date():
        return f"since {time} UTC", held
    return f"since {date_words(bulletin.since_s)} {time}", held


def heading_row(heading: Heading) -> tuple[str, str, str, str]:
    """Bearing, stations, distance and mode of one live direction, for a table."""
    return (
        bearing_words(heading.bearing_deg),
        str(heading.stations),
        reach_words(heading.nearest_km, heading.farthest_km),
        MODE_LETTERS[heading.mode],
    )


def opening_row(opening: Opening) -> tuple[str, str, str, str, str]:
    """Time, bearing, stations, distance and mode of one opening, for a table."""
    ended = "now" if opening.ended_at_s is None else time_words(opening.ended_at_s)
    return (
        f"{time_words(opening.began_at_s)}–{ended}",
        bearing_words(opening.bearing_deg),
        str(opening.total_stations),
        reach_words(opening.nearest_km, opening.farthest_km),
        MODE_LETTERS[opening.mode],
    )


def openings_today(bulletin: Bulletin) -> tuple[Opening, ...]:
    """The openings that lived on the bulletin's UTC day, newest first."""
    today = utc(bulletin.at_s).date()
    alive = [o for o in bulletin.openings if o.ended_at_s is None or utc(o.ended_at_s).date() == today]
    return tuple(sorted(alive, key=lambda o: (-o.began_at_s, o.id)))


def blind_words(bulletin: Bulletin) -> str:
    """The reason of blindness in a few words."""
    if bulletin.blind_reason is None:
        return "Cannot judge"
    return BLIND_WORDS[bulletin.blind_reason]


def outlook_words(bulletin: Bulletin) -> str:
    """The best chance of the next six hours, or nothing where no outlook is known."""
    if not bulletin.outlook:
        return ""
    best = max(bulletin.outlook, key=lambda chance: chance.next_6_h)
    return f"{MODE_WORDS[best.mode]} {round(100 * best.next_6_h)} % in 6 h"
