"""Invented material for the status page: its furnishings, a diary of two years, and bulletins."""

import math
import random
from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO
from pathlib import Path

from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_rows import DiaryBatch, DowntimeRow, OpeningRow, StateRow, Watched
from sentinel.outputs.page_view import Furnishings
from sentinel.panel.map import EARTH_KM, View, coastlines
from sentinel.panel.picture import draw
from sentinel.panel.samples import NOON_S, samples
from sentinel.watch.bulletin import Bulletin, Mode, Notable, Opening, State

BAND = "6m"
HOME = "FN84ab"
DAY_S = 86_400.0
HOSTILE = '<img src=x onerror="document.title=1">&amp;"\'</td><script>document.title=1</script>'
"""What somebody might transmit: markup in every quoting."""


def project(middle: tuple[float, float], place: tuple[float, float]) -> tuple[float, float]:
    return View(*middle, reach_km=EARTH_KM, radius=EARTH_KM).point(*place)


def panel_png(bulletin: Bulletin) -> bytes:
    png = BytesIO()
    draw(bulletin, (250, 122)).save(png, "PNG")
    return png.getvalue()


def fonts() -> dict[str, bytes]:
    from importlib.resources import files

    names = ("B612-Regular.otf", "B612-Bold.otf", "BebasNeue-Bold.otf")
    return {name: (files("sentinel.panel") / "fonts" / name).read_bytes() for name in names}


def furnishings(bands: tuple[str, ...] = (BAND,)) -> Furnishings:
    return Furnishings(HOME, bands, "0.0", coastlines(), project, fonts(), panel_png)


def bulletins() -> dict[str, Bulletin]:
    """Every sample of the panel, and one in which all that came off the air is hostile."""
    return {**samples(), "hostile": hostile()}


def hostile() -> Bulletin:
    """Text that pretends to be markup in every field that can hold text."""
    base = samples()["open"]
    station = replace(base.stations[0], call=HOSTILE, reasons=(HOSTILE,))
    opening = replace(
        base.openings[0],
        id=HOSTILE,
        reflections=tuple(replace(each, call=HOSTILE) for each in base.openings[0].reflections),
    )
    return replace(
        base,
        because=HOSTILE,
        stations=(station, *base.stations[1:]),
        openings=(opening, *base.openings[1:]),
        notables=(Notable("n1", NOON_S - 60, "new-square", HOSTILE, HOSTILE),),
        receiver=replace(base.receiver, notes=(HOSTILE,)),
        parts=tuple(replace(part, note=HOSTILE) for part in base.parts),
        outlook=tuple(replace(chance, reason=HOSTILE) for chance in base.outlook),
    )


def write_diary(path: Path, days: int = 700, until_s: float = NOON_S, seed: int = 6) -> None:
    """Invented days up to ``until_s``: openings as the season has them, a few blind hours, a holiday."""
    chance = random.Random(seed)
    first_s = until_s - days * DAY_S
    holiday = DowntimeRow(BAND, until_s - 300 * DAY_S, until_s - 290 * DAY_S)
    off = DowntimeRow(BAND, until_s - 15 * 3600, until_s - 14.2 * 3600)
    with Diary(path) as diary:
        states, openings = [StateRow(first_s, BAND, State.QUIET, "Nothing far has been heard.")], []
        for number in range(days):
            for row in _day(first_s + number * DAY_S, chance, until_s):
                (openings if isinstance(row, OpeningRow) else states).append(row)
        diary.write(
            DiaryBatch(
                states=tuple(states),
                openings=tuple(openings),
                downtimes=(holiday, off),
                watched=(Watched(BAND, until_s),),
            )
        )


def _day(start_s: float, chance: random.Random, until_s: float) -> Iterator[StateRow | OpeningRow]:
    season = max(0.0, math.cos((start_s / DAY_S - 173 - 19_700) % 365.25 / 365.25 * 2 * math.pi)) ** 3
    for _ in range(2):
        if chance.random() < 0.06:
            yield from _spell(start_s + chance.uniform(0, DAY_S), 1200, chance, State.BLIND, until_s)
        if chance.random() < 0.35:
            yield from _spell(start_s + chance.uniform(0, DAY_S), 600, chance, State.STIRRING, until_s)
        if chance.random() < 0.03 + 0.75 * season:
            hour = chance.choice((15.5, 16.5, 18, 22.5, 23.5)) + chance.gauss(0, 1.2)
            began_s = start_s + hour * 3600
            yield from _spell(began_s, 4200, chance, State.OPEN, until_s)


def _spell(
    at_s: float, usual_s: float, chance: random.Random, state: State, until_s: float
) -> Iterator[StateRow | OpeningRow]:
    lasts_s = usual_s * chance.uniform(0.3, 2.5)
    if at_s + lasts_s >= until_s:
        return
    yield StateRow(at_s, BAND, state, f"An invented {state.value} spell.")
    yield StateRow(at_s + lasts_s, BAND, State.QUIET, "Nothing far is heard any more.")
    if state is State.OPEN:
        yield OpeningRow(BAND, _opening(at_s, lasts_s, chance))


def _opening(at_s: float, lasts_s: float, chance: random.Random) -> Opening:
    mode = chance.choices((Mode.SPORADIC_E, Mode.MULTI_HOP_SPORADIC_E, Mode.F2, Mode.AURORA), (8, 3, 1, 1))[0]
    near_km = {Mode.SPORADIC_E: 700, Mode.AURORA: 500}.get(mode, 3100) + chance.randrange(900)
    count = chance.randrange(3, 40)
    return Opening(
        id=f"6m-{at_s:.0f}",
        began_at_s=at_s,
        peak_at_s=at_s + lasts_s / 2,
        ended_at_s=at_s + lasts_s,
        last_at_s=at_s + lasts_s,
        bearing_deg=chance.choice((65.0, 180.0, 245.0, 300.0)) + chance.uniform(-20, 20),
        spread_deg=chance.uniform(3, 15),
        stations=0,
        peak_stations=count,
        total_stations=count + chance.randrange(9),
        locators=("EM73", "EM89"),
        nearest_km=near_km,
        farthest_km=near_km + chance.randrange(300, 1500),
        best_snr_db=float(chance.randrange(-15, 15)),
        mode=mode,
        muf_mhz=chance.uniform(52, 110) if mode is Mode.SPORADIC_E else None,
    )
