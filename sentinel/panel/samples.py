"""Invented bulletins of every kind, for `sentinel panel --samples`, the documentation and the tests.

All calls have a suffix beginning with Q, which is never issued.
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from PIL import Image, ImageDraw

from sentinel.panel.fonts import Face, font
from sentinel.panel.picture import SIZES, draw
from sentinel.sky.geodesy import midpoint, path_between
from sentinel.trade.locator import center_of
from sentinel.watch.bulletin import (
    BlindReason,
    Bulletin,
    Chance,
    Heading,
    LocationSource,
    Mode,
    Opening,
    OtherBand,
    Part,
    ReceiverHealth,
    Reflection,
    State,
    Station,
)

NOON_S = 1781438400.0 + 720.0  # 2026-06-14 12:12 UTC
WELL = (Part("clock", True), Part("broker", True), Part("display", True))
ES_6_H = Chance(Mode.SPORADIC_E, 0.08, 0.34, 0.61, "season and hour")


def bulletin(state: State, because: str, **changes: object) -> Bulletin:
    """A bulletin in good health from which the samples differ."""
    base = Bulletin(
        band="6m", at_s=NOON_S, state=state, since_s=NOON_S - 1500.0, previous=State.QUIET, because=because,
        blind_reason=None, far_stations=0, station_locator="FN84ab", parts=WELL, outlook=(ES_6_H,),
        receiver=ReceiverHealth(lines=5200, decodes=5100, last_decode_at_s=NOON_S - 24.0),
    )  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


def station(call: str, locator: str, home: str = "FN84ab") -> Station:
    """A station as heard from ``home``, its place the middle of its locator."""
    place, here = center_of(locator), center_of(home)
    path = path_between(here.lat_deg, here.lon_deg, place.lat_deg, place.lon_deg)
    return Station(
        call=call, locator=locator, location_source=LocationSource.MESSAGE, uncertainty_km=5.0,
        bearing_deg=path.bearing_deg, distance_km=path.distance_km, first_at_s=NOON_S - 900.0,
        last_at_s=NOON_S - 24.0, slots=8, best_snr_db=-4.0, last_snr_db=-9.0, audio_hz=1420.0, trust=0.95,
        lat_deg=place.lat_deg, lon_deg=place.lon_deg,
    )  # fmt: skip


SOUTH_WEST = Heading(245.0, 8.0, 5, 1047, 2162, Mode.SPORADIC_E)
EUROPE = Heading(60.0, 6.0, 12, 4641, 5562, Mode.MULTI_HOP_SPORADIC_E)
CARIBBEAN = Heading(181.0, 7.0, 3, 2946, 3731, Mode.F2)
SOUTH = Heading(161.0, 9.0, 128, 7678, 8714, Mode.TRANSEQUATORIAL)
TO_SOUTH_WEST = tuple(
    station(call, locator)
    for call, locator in (
        ("W8QAB", "EM89"), ("W4QCD", "EM73"), ("K4QEF", "EM95"), ("N4QGH", "FM16"), ("W3QJK", "FM29"),
    )
)  # fmt: skip
TO_CARIBBEAN = tuple(
    station(call, locator) for call, locator in (("PJ4QA", "FK52"), ("V4QB", "FK87"), ("9Y4QC", "FK90"))
)
TO_EUROPE = tuple(
    station(call, locator)
    for call, locator in (("DL5QAB", "JN58"), ("G4QCD", "IO91"), ("F5QEF", "JN18"), ("EA1QGH", "IN73"))
)
TO_SOUTH = tuple(station(call, locator) for call, locator in (("LU5QA", "GF05"), ("PY2QB", "GG66")))


def reflection(one: Station, home: str = "FN84ab") -> Reflection:
    here = center_of(home)
    return Reflection(*midpoint(here.lat_deg, here.lon_deg, one.lat_deg, one.lon_deg), one.call)


def opening(
    number: int, began_min: int, lasted_min: int | None, heading: Heading, muf: float | None
) -> Opening:
    began = NOON_S - 60.0 * began_min
    ended = None if lasted_min is None else began + 60.0 * lasted_min
    return Opening(
        id=f"o{number}", began_at_s=began, peak_at_s=began + 300.0, ended_at_s=ended,
        last_at_s=NOON_S if ended is None else ended, bearing_deg=heading.bearing_deg,
        spread_deg=heading.spread_deg, stations=heading.stations, peak_stations=heading.stations,
        total_stations=heading.stations + 2, locators=(), nearest_km=heading.nearest_km,
        farthest_km=heading.farthest_km, best_snr_db=-3.0, mode=heading.mode, muf_mhz=muf,
        reflections=tuple(reflection(one) for one in TO_SOUTH_WEST),
    )  # fmt: skip


def samples() -> Mapping[str, Bulletin]:
    """Every kind of bulletin by name."""
    return {**_seeing(), **_blind()}


def _seeing() -> dict[str, Bulletin]:
    past = (opening(1, 400, 55, SOUTH_WEST, 76.0), opening(2, 200, 12, CARIBBEAN, None))
    openings = (opening(3, 25, None, SOUTH_WEST, 91.4), *past)
    doubtful = Heading(60.4, 4.0, 1, 5045, 5045, Mode.UNKNOWN)
    wide = Heading(359.6, 40.0, 1, 12040, 12040, Mode.UNKNOWN)
    on_the_ice = (("CE8QAA", "FD65"), ("LU1QBB", "FE74"), ("PY3QCC", "GF49"))
    return {
        "quiet": bulletin(
            State.QUIET,
            "Nothing beyond 500 km for 5 hours; 3 near stations prove that the receiver works.",
            since_s=NOON_S - 18600.0, previous=State.STIRRING, openings=past,
        ),
        "stirring": bulletin(
            State.STIRRING, "One far station in 2 slots, not an opening yet.", far_stations=1,
            since_s=NOON_S - 95.0, headings=(doubtful,), stations=TO_EUROPE[2:3], mode=Mode.UNKNOWN,
        ),
        "stirring-neighbours": bulletin(
            State.STIRRING, "Two neighbours report an opening to the south-west; nothing is heard here.",
        ),
        "open": bulletin(
            State.OPEN, "5 far stations between 1047 and 2162 km around 245 degrees, in 6 slots.",
            far_stations=5, headings=(SOUTH_WEST,), mode=Mode.SPORADIC_E, stations=TO_SOUTH_WEST,
            openings=openings,
        ),
        "open-two": bulletin(
            State.OPEN, "15 far stations on two headings.", far_stations=15, headings=(SOUTH_WEST, CARIBBEAN),
            mode=Mode.SPORADIC_E, stations=TO_SOUTH_WEST + TO_CARIBBEAN, openings=openings,
            is_acknowledged=True,
        ),
        "open-four": bulletin(
            State.OPEN, "148 far stations on four headings.", far_stations=148, since_s=NOON_S - 90000.0,
            headings=(SOUTH, SOUTH_WEST, EUROPE, CARIBBEAN), mode=Mode.TRANSEQUATORIAL,
            stations=TO_SOUTH_WEST + TO_CARIBBEAN + TO_EUROPE + TO_SOUTH, openings=openings,
        ),
        "broker-down": bulletin(
            State.QUIET, "Nothing beyond 500 km for 12 minutes.",
            parts=(Part("clock", True), Part("broker", False, "refused"), Part("display", None)),
        ),
        "long-text": bulletin(
            State.STIRRING,
            "One far station was heard twice, but the second time its locator did not agree with the first, "
            "so that neither is believed until a third slot says the same; the log has never seen it.",
            far_stations=1, headings=(wide,), mode=Mode.UNKNOWN,
        ),
        "other-bands": bulletin(
            State.STIRRING,
            "28 MHz skip of 570 km: MUF about 58 MHz to the west; you hear nothing far here yet.",
            other_bands=(
                OtherBand("10m", State.OPEN), OtherBand("4m", State.QUIET), OtherBand("2m", State.BLIND),
            ),
        ),
        "open-other-bands": bulletin(
            State.OPEN, "5 far stations between 1047 and 2162 km around 245 degrees, in 6 slots.",
            far_stations=5, headings=(SOUTH_WEST,), mode=Mode.SPORADIC_E, stations=TO_SOUTH_WEST,
            openings=openings,
            other_bands=(
                OtherBand("10m", State.OPEN), OtherBand("4m", State.STIRRING), OtherBand("2m", State.QUIET),
            ),
        ),
        "polar": bulletin(
            State.OPEN, "3 far stations seen from the ice.", station_locator="AA00aa", far_stations=3,
            headings=(Heading(124.0, 20.0, 3, 4100, 6600, Mode.AURORA),), mode=Mode.AURORA,
            stations=tuple(station(call, locator, "AA00aa") for call, locator in on_the_ice),
        ),
    }  # fmt: skip


BLIND_BECAUSE = {
    BlindReason.CANARY_SILENT: "VE1QBC has not been heard for 47 minutes; as a rule it is heard every 4.",
    BlindReason.SOURCE_GONE: "The file decodes.log is not there any more.",
    BlindReason.NO_LINES: "The decoder has printed nothing for 31 minutes.",
    BlindReason.DECODER_GONE: "Lines come in, but none of the last 40 fits the layout.",
    BlindReason.CLOCK_OFF: "All decodes are 2.9 s late: the clock of the decoding machine is off.",
    BlindReason.LOCALS_SILENT: "None of the 6 near stations that are usual at this hour has been heard.",
    BlindReason.STARTING: "The decoder has printed nothing yet, so nothing shows that it hears.",
}


def _blind() -> dict[str, Bulletin]:
    return {f"blind-{reason.value}": _blind_by(reason) for reason in BlindReason}


def _blind_by(reason: BlindReason) -> Bulletin:
    last_at_s = None if reason is BlindReason.STARTING else NOON_S - 2820.0
    return bulletin(
        State.BLIND, BLIND_BECAUSE[reason], blind_reason=reason, far_stations=None, since_s=NOON_S - 2820.0,
        receiver=ReceiverHealth(last_decode_at_s=last_at_s),
    )  # fmt: skip


def draw_samples(directory: Path) -> list[Path]:
    """Draw every sample in every size as PNG into a directory (made if need be); returns the files."""
    directory.mkdir(parents=True, exist_ok=True)
    files = []
    for name, one in samples().items():
        for size in SIZES:
            file = directory / f"{name}-{size[0]}x{size[1]}.png"
            draw(one, size).save(file)
            files.append(file)
    return files


def contact_sheet(size: tuple[int, int] = (250, 122), columns: int = 3) -> Image.Image:
    """All samples of one size on one sheet with their names, and the second page of one of them."""
    pictures = [(name, draw(one, size)) for name, one in samples().items()]
    pictures.append(("open, second page", draw(samples()["open"], size, page=2)))
    step_x, step_y = size[0] + 20, size[1] + 34
    rows = -(-len(pictures) // columns)
    sheet = Image.new("L", (columns * step_x + 20, rows * step_y + 14), 190)
    pen = ImageDraw.Draw(sheet)
    for index, (name, picture) in enumerate(pictures):
        x, y = 20 + index % columns * step_x, 26 + index // columns * step_y
        pen.text((x, y - 4), name, font=font(Face.REGULAR, 12), fill=0, anchor="ls")
        sheet.paste(picture.convert("L"), (x, y))
    return sheet
