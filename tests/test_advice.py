"""Where to listen now: what strength carries, which heading first, whose band plan."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.trade.bandplan import BANDS, Emission, Region, activity_centres
from sentinel.trade.locator import center_of
from sentinel.trade.regions import region_of
from sentinel.watch.advice import Direction, advise, advise_on, in_words
from sentinel.watch.bulletin import Bulletin, Heading, LocationSource, Mode, State, Station

CANADA, ENGLAND, JAPAN = "FN84ab", "IO91wm", "PM95"


def direction(snr_db: float | None = -12.0, bearing_deg: float = 95.0, **changes: object) -> Direction:
    made = Direction(bearing_deg, 1900, Mode.SPORADIC_E, 4, snr_db)
    return replace(made, **changes)  # type: ignore[arg-type]


def tried(snr_db: float | None, home: str = CANADA, **changes: object) -> list[tuple[Emission, float]]:
    return [(a.emission, a.freq_mhz) for a in advise_on([direction(snr_db, **changes)], "6m", home)]


# Signal to noise in 2500 Hz: Morse by ear -15 to -10, voice from +4, good from +10 (voacap.com,
# "Understanding REL"; +4 from memory). 50.313, 50.125 and 50.095: see the sources in the band plan.
@pytest.mark.parametrize(
    ("snr_db", "emissions"),
    [
        (None, [Emission.FT8]),
        (-18.0, [Emission.FT8]),
        (-15.0, [Emission.CW, Emission.FT8]),
        (3.9, [Emission.CW, Emission.FT8]),
        (4.0, [Emission.SSB, Emission.CW, Emission.FT8]),
        (12.0, [Emission.SSB, Emission.CW, Emission.FT8]),
    ],
)
def test_the_strength_of_a_signal_says_what_else_it_would_carry(
    snr_db: float | None, emissions: list[Emission]
) -> None:
    usual = {Emission.SSB: 50.125, Emission.CW: 50.095, Emission.FT8: 50.313}
    assert tried(snr_db) == [(emission, usual[emission]) for emission in emissions]


def test_reasons_grow_with_the_strength() -> None:
    reasons = {
        snr: [a.reason for a in advise_on([direction(snr)], "6m", CANADA)] for snr in (-14.0, -8.0, 5.0, 12.0)
    }
    assert "a skilled ear" in reasons[-14.0][0]
    assert "easy to copy" in reasons[-8.0][0]
    assert "may just carry" in reasons[5.0][0]
    assert reasons[12.0][0] == "the strongest is at +12 dB: voice should carry"


def test_the_region_of_the_station_chooses_the_band_plan() -> None:
    assert (Emission.SSB, 50.150) in tried(12.0, ENGLAND)
    assert (Emission.SSB, 50.125) in tried(12.0, CANADA)
    assert (Emission.SSB, 50.110) in tried(12.0, JAPAN)
    sources = {a.source for a in advise_on([direction(12.0)], "6m", ENGLAND)}
    assert any("RSGB" in source for source in sources)


def test_other_continents_bring_the_frequencies_kept_for_them_first() -> None:
    far = tried(12.0, farthest_km=6500, mode=Mode.F2)
    assert far[:2] == [(Emission.SSB, 50.110), (Emission.SSB, 50.125)]
    assert (Emission.FT8, 50.323) in far
    assert (Emission.SSB, 50.110) not in tried(12.0)


def test_aurora_spoils_voice_and_pings_allow_neither() -> None:
    assert [e for e, _ in tried(15.0, mode=Mode.AURORA)] == [Emission.CW, Emission.FT8]
    assert [e for e, _ in tried(15.0, mode=Mode.METEOR_SCATTER)] == [Emission.FT8]


def test_the_best_heading_comes_first() -> None:
    weak_and_busy, strong = direction(-17.0, 250.0, stations=9), direction(11.0, 40.0, stations=3)
    as_weak = direction(-16.0, 100.0, stations=2)
    order = [a.bearing_deg for a in advise_on([as_weak, weak_and_busy, strong], "6m", CANADA)]
    assert list(dict.fromkeys(order)) == [40.0, 250.0, 100.0]


def test_while_nothing_comes_the_first_place_is_where_weak_signals_show() -> None:
    told = advise_on([], "6m", CANADA)
    assert [(a.emission, a.freq_mhz, a.bearing_deg) for a in told] == [
        (Emission.FT8, 50.313, None),
        (Emission.SSB, 50.125, None),
        (Emission.CW, 50.095, None),
    ]


@given(
    st.lists(st.builds(direction, st.none() | st.floats(-30, 40), st.floats(0, 359.9)), max_size=4),
    st.sampled_from([*BANDS, "60m"]),
    st.sampled_from([CANADA, ENGLAND, JAPAN]),
)
def test_every_frequency_is_one_of_the_regions_band_plan(
    directions: list[Direction], band: str, home: str
) -> None:
    told = advise_on(directions, band, home)
    region = region_of(*center_of(home))
    centres = activity_centres(band, region) if band in BANDS else ()
    known = {(c.emission, c.freq_mhz, c.source) for c in centres}
    assert {(a.emission, a.freq_mhz, a.source) for a in told} <= known
    assert isinstance(region, Region)


def station(bearing_deg: float, last_snr_db: float | None, best_snr_db: float | None = None) -> Station:
    return Station(
        call="VE1QAB",
        locator="FN31",
        location_source=LocationSource.MESSAGE,
        uncertainty_km=50.0,
        bearing_deg=bearing_deg,
        distance_km=1500.0,
        first_at_s=0.0,
        last_at_s=10.0,
        slots=3,
        best_snr_db=last_snr_db if best_snr_db is None else best_snr_db,
        last_snr_db=last_snr_db,
        audio_hz=1000.0,
        trust=0.9,
    )


def bulletin(**changes: object) -> Bulletin:
    made = Bulletin(
        band="6m",
        at_s=100.0,
        state=State.OPEN,
        since_s=0.0,
        previous=None,
        because="it is open",
        blind_reason=None,
        far_stations=3,
        headings=(
            Heading(95.0, 8.0, 2, 1300, 1900, Mode.SPORADIC_E),
            Heading(210.0, 5.0, 1, 2000, 2000, Mode.SPORADIC_E),
        ),
        stations=(
            station(90.0, -20.0, 15.0),
            station(99.0, -18.0),
            station(212.0, 11.0),
            station(330.0, 25.0),
        ),
        station_locator=CANADA,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def test_a_bulletin_is_advised_on_by_what_is_heard_last_along_each_heading() -> None:
    told = advise(bulletin())
    # 330 degrees is no heading; what was at +15 dB from the east has faded to -18 dB
    assert [(a.bearing_deg, a.emission) for a in told] == [
        (210.0, Emission.SSB),
        (210.0, Emission.CW),
        (210.0, Emission.FT8),
        (95.0, Emission.FT8),
    ]


def test_a_blind_watch_advises_nothing() -> None:
    assert advise(bulletin(state=State.BLIND, headings=(), stations=())) == ()
    assert advise(bulletin(station_locator=None)) == ()
    assert advise(bulletin(station_locator="nowhere")) == ()
    assert advise(bulletin(state=State.QUIET, headings=(), stations=()))[0].bearing_deg is None


def test_an_advice_is_one_short_line() -> None:
    """50.313 MHz FT8: common practice (band plans of the societies)."""
    voice, *_ = advise(bulletin())
    assert in_words(voice) == (
        f"{voice.freq_mhz:.3f} MHz, SSB, at 210°: the strongest is at +11 dB: voice should carry"
    )
    quiet = advise(bulletin(state=State.QUIET, headings=(), stations=()))
    assert in_words(quiet[0]) == "50.313 MHz, FT8: weak signals show here first"
