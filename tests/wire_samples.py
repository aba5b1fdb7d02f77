"""Bulletins for the tests of what is published: a full one, a quiet one, a blind one, and any at all."""

from dataclasses import replace

from hypothesis import strategies as st

from sentinel.watch.bulletin import (
    BlindReason,
    Bulletin,
    Chance,
    Drift,
    Heading,
    Likelihood,
    LocationSource,
    Mode,
    Notable,
    Opening,
    Part,
    ReceiverHealth,
    Reflection,
    State,
    Station,
)

NOON_S = 1_750_507_200.0  # 2025-06-21T12:00:00Z


def station(call: str = "DL5QAB", last_at_s: float = NOON_S) -> Station:
    return Station(
        call=call,
        locator="JN58td",
        location_source=LocationSource.MESSAGE,
        uncertainty_km=3.2,
        bearing_deg=57.04,
        distance_km=5620.5,
        first_at_s=last_at_s - 300,
        last_at_s=last_at_s,
        slots=7,
        best_snr_db=-3.0,
        last_snr_db=-11.0,
        audio_hz=1234.0,
        trust=0.95,
        reasons=("heard in 7 slots",),
        lat_deg=48.14583,
        lon_deg=11.625,
    )


def opening(opening_id: str = "6m-20250621-1140-095") -> Opening:
    return Opening(
        id=opening_id,
        began_at_s=NOON_S - 1200,
        peak_at_s=NOON_S - 300,
        ended_at_s=None,
        last_at_s=NOON_S - 15,
        bearing_deg=95.24,
        spread_deg=11.04,
        stations=5,
        peak_stations=6,
        total_stations=9,
        locators=("FN20", "FN31"),
        nearest_km=812,
        farthest_km=1950,
        best_snr_db=-2.0,
        mode=Mode.SPORADIC_E,
        likelihoods=(Likelihood(Mode.SPORADIC_E, 0.934, "persistent within one hop"),),
        muf_mhz=79.93,
        reflections=(Reflection(43.123456, -70.5, "VE1QZZ"),),
        drift=Drift(270.0, 61.25),
    )


def notable() -> Notable:
    return Notable(
        id="new-square-JN58-20250621",
        at_s=NOON_S - 60,
        what="new-square",
        station="DL5QAB",
        sentence="DL5QAB in JN58 is the first ever heard from that square.",
        opening_id="6m-20250621-1140-095",
    )


def open_bulletin() -> Bulletin:
    return Bulletin(
        band="6m",
        at_s=NOON_S,
        state=State.OPEN,
        since_s=NOON_S - 1200,
        previous=State.STIRRING,
        because="5 far stations in 14 minutes towards 95 degrees.",
        blind_reason=None,
        far_stations=5,
        headings=(Heading(95.24, 11.04, 5, 812, 1950, Mode.SPORADIC_E),),
        mode=Mode.SPORADIC_E,
        stations=(station("DL5QAB", NOON_S - 15), station("G4QXX", NOON_S), station("EA8QYA", NOON_S - 90)),
        openings=(opening(),),
        notables=(notable(),),
        receiver=ReceiverHealth(
            lines=500,
            decodes=490,
            rejected=10,
            late=1,
            last_decode_at_s=NOON_S - 15,
            clock_error_s=0.123,
            canary_last_at_s=NOON_S - 45,
            near_stations=4,
            notes=("clock within 0.2 s",),
        ),
        station_locator="FN84ab",
        parts=(Part("source", True, "decodes.log"), Part("display", None)),
        outlook=(Chance(Mode.SPORADIC_E, 0.8, 0.61, 0.555, "high season, afternoon"),),
    )


def quiet_bulletin() -> Bulletin:
    return Bulletin(
        band="6m",
        at_s=NOON_S,
        state=State.QUIET,
        since_s=NOON_S - 7200,
        previous=None,
        because="Nothing far in 15 minutes; 4 near stations heard.",
        blind_reason=None,
        far_stations=0,
    )


def blind_bulletin() -> Bulletin:
    return replace(
        quiet_bulletin(),
        state=State.BLIND,
        because="Canary VE1QBC has been silent for 25 minutes.",
        blind_reason=BlindReason.CANARY_SILENT,
        far_stations=None,
    )


def crowded_bulletin(stations: int = 400) -> Bulletin:
    """More of everything than any band has shown."""
    calls = (f"VE{i % 10}Q{chr(65 + i // 10 % 26)}{chr(65 + i // 260)}" for i in range(stations))
    crowd = tuple(station(call, NOON_S - i) for i, call in enumerate(calls))
    wide = replace(
        opening(),
        likelihoods=tuple(Likelihood(m, 0.12345, "a reason of usual length, for people") for m in Mode),
        reflections=tuple(Reflection(43.1, -70.5, "VE1QZZ") for _ in range(500)),
        locators=tuple(f"FN{i:02d}" for i in range(100)),
    )
    return replace(
        open_bulletin(),
        far_stations=stations,
        stations=crowd,
        headings=tuple(Heading(float(d), 5.0, 3, 900, 1900, Mode.SPORADIC_E) for d in range(0, 360, 10)),
        openings=tuple(replace(wide, id=f"opening-{i}") for i in range(20)),
        notables=tuple(replace(notable(), id=f"notable-{i}") for i in range(50)),
    )


# Any text at all, as a hostile transmission or a broken decoder would give it.
hostile_text = st.text(st.characters(codec=None), max_size=80)
_times = st.floats(0, 4e9)
_bearings = st.floats(0, 360, exclude_max=True)
_counts = st.integers(0, 5000)
_maybe_db = st.none() | st.floats(allow_nan=True, allow_infinity=True)


def _headings() -> st.SearchStrategy[Heading]:
    return st.builds(
        Heading,
        _bearings,
        st.floats(0, allow_infinity=True),
        _counts,
        _counts,
        _counts,
        st.sampled_from(Mode),
    )


def _openings() -> st.SearchStrategy[Opening]:
    return st.builds(
        Opening,
        id=hostile_text,
        began_at_s=_times,
        peak_at_s=_times,
        ended_at_s=st.none() | _times,
        last_at_s=_times,
        bearing_deg=_bearings,
        spread_deg=st.floats(0),
        stations=_counts,
        peak_stations=_counts,
        total_stations=_counts,
        locators=st.lists(hostile_text | st.just("FN84"), max_size=3).map(tuple),
        nearest_km=_counts,
        farthest_km=_counts,
        best_snr_db=_maybe_db,
        mode=st.sampled_from(Mode),
        muf_mhz=st.none() | st.floats(0, 500),
    )


def any_bulletin() -> st.SearchStrategy[Bulletin]:
    """Any bulletin that keeps the core's promise: no count exactly when blind."""
    return st.sampled_from(State).flatmap(
        lambda state: st.builds(
            Bulletin,
            band=st.just("6m"),
            at_s=_times,
            state=st.just(state),
            since_s=_times,
            previous=st.none() | st.sampled_from(State),
            because=hostile_text,
            blind_reason=st.sampled_from(BlindReason) if state is State.BLIND else st.none(),
            far_stations=st.none() if state is State.BLIND else _counts,
            headings=st.lists(_headings(), max_size=3).map(tuple),
            mode=st.none() | st.sampled_from(Mode),
            openings=st.lists(_openings(), max_size=2).map(tuple),
            notables=st.lists(
                st.builds(
                    Notable, hostile_text, _times, hostile_text, st.none() | hostile_text, hostile_text
                ),
                max_size=2,
            ).map(tuple),
            station_locator=st.none() | hostile_text,
            parts=st.lists(st.builds(Part, hostile_text, st.none() | st.booleans(), hostile_text)).map(tuple),
        )
    )
