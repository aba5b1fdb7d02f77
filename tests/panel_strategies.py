"""Generated bulletins for the tests of panel and terminal: all that the types allow, texts hostile."""

from hypothesis import strategies as st

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

NOW_S = 1781439120.0
BEARINGS = st.floats(0, 359.999)
TEXTS = st.text(max_size=300)
AGES = st.one_of(st.none(), st.floats(-100, 1e9).map(lambda age: NOW_S - age))
LATS, LONS = st.floats(-90, 90), st.floats(-180, 180)


@st.composite
def headings(draw: st.DrawFn) -> Heading:
    nearest, farthest = sorted([draw(st.integers(500, 20015)), draw(st.integers(500, 20015))])
    stations = draw(st.one_of(st.integers(1, 9), st.integers(100, 5000)))
    return Heading(
        draw(BEARINGS), draw(st.floats(0, 180)), stations, nearest, farthest, draw(st.sampled_from(Mode))
    )


@st.composite
def stations(draw: st.DrawFn) -> Station:
    return Station(
        call=draw(TEXTS), locator=None, location_source=LocationSource.PREFIX, uncertainty_km=500.0,
        bearing_deg=draw(BEARINGS), distance_km=draw(st.floats(0, 20015)), first_at_s=NOW_S - 600,
        last_at_s=NOW_S - draw(st.floats(0, 900)), slots=2, best_snr_db=None,
        last_snr_db=draw(st.one_of(st.none(), st.floats(-40, 60))), audio_hz=None,
        trust=draw(st.floats(0, 1)),
        lat_deg=draw(LATS), lon_deg=draw(LONS),
    )  # fmt: skip


@st.composite
def openings(draw: st.DrawFn) -> Opening:
    began = NOW_S - draw(st.floats(0, 100_000))
    ended = draw(st.one_of(st.none(), st.floats(0, 1).map(lambda part: began + part * (NOW_S - began))))
    heading = draw(headings())
    points = st.builds(Reflection, LATS, LONS, TEXTS)
    return Opening(
        id=draw(st.text(max_size=8)), began_at_s=began, peak_at_s=began, ended_at_s=ended,
        last_at_s=ended or NOW_S,
        bearing_deg=heading.bearing_deg, spread_deg=heading.spread_deg, stations=heading.stations,
        peak_stations=heading.stations, total_stations=heading.stations, locators=(),
        nearest_km=heading.nearest_km, farthest_km=heading.farthest_km, best_snr_db=None, mode=heading.mode,
        reflections=tuple(draw(st.lists(points, max_size=3))),
    )  # fmt: skip


LOCATORS = st.sampled_from(["FN84ab", "AA00", "RR99xx", "JO22db", "RE78ir", "IR09", None])
PARTS = st.lists(
    st.builds(Part, st.sampled_from(["clock", "broker", "display", "diary"]),
        st.sampled_from([True, False, None]), TEXTS),
    max_size=5,
)  # fmt: skip
OTHER_BANDS = st.lists(
    st.builds(OtherBand, st.sampled_from(["10m", "4m", "2m", "a-band.of-16-chr"]), st.sampled_from(State)),
    max_size=5,
    unique_by=lambda other: other.band,
)
CHANCES = st.builds(Chance, st.sampled_from(Mode), st.floats(0, 1), st.floats(0, 1), st.floats(0, 1), TEXTS)


@st.composite
def bulletins(draw: st.DrawFn) -> Bulletin:
    state = draw(st.sampled_from(State))
    is_blind = state is State.BLIND
    return Bulletin(
        band="6m", at_s=NOW_S, state=state, since_s=NOW_S - draw(st.floats(-10, 1e8)),
        previous=draw(st.sampled_from([*State, None])), because=draw(TEXTS),
        blind_reason=draw(st.sampled_from([*BlindReason, None])) if is_blind else None,
        far_stations=None if is_blind else draw(st.integers(0, 999)),
        headings=() if is_blind else tuple(draw(st.lists(headings(), max_size=5))),
        stations=() if is_blind else tuple(draw(st.lists(stations(), max_size=4))),
        openings=() if is_blind else tuple(draw(st.lists(openings(), max_size=8))),
        receiver=ReceiverHealth(
            last_decode_at_s=draw(AGES), clock_error_s=draw(st.one_of(st.none(), st.floats(-9, 9))),
            notes=tuple(draw(st.lists(TEXTS, max_size=2))),
        ),
        station_locator=draw(LOCATORS), parts=tuple(draw(PARTS)),
        outlook=tuple(draw(st.lists(CHANCES, max_size=3))),
        is_acknowledged=draw(st.booleans()), other_bands=tuple(draw(OTHER_BANDS)),
    )  # fmt: skip
