"""A lower band's short skip raises the next band up to stirring, with the implied MUF, and no further."""

import random
from collections.abc import Iterable
from dataclasses import replace
from math import cos, sqrt

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from nights import HOME, LOCAL, OWN_CALL, SOUTH_WEST, Heard, calling, seconds

from sentinel.watch.bands import Bands, band_of
from sentinel.watch.bulletin import BlindReason, Bulletin, Mode, State
from sentinel.watch.changes import Change, OpeningChanged, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.lower_band import LowerBandSkip, Skip
from sentinel.watch.receiver import FactKind, ReceiverFact
from sentinel.watch.settings import ReceiverSettings, WatchSettings
from sentinel.watch.watch import Watch

START_S = seconds("2026-06-14T18:00:00")
MINUTE = 60.0
SIX = WatchSettings(HOME, "6m", 50.0, 54.0, OWN_CALL)
TEN = replace(SIX, band="10m", low_mhz=28.0, high_mhz=29.7)
FOUR = replace(SIX, band="4m", low_mhz=69.9, high_mhz=70.5)
TWO = replace(SIX, band="2m", low_mhz=144.0, high_mhz=148.0)
# To the west of home, by pyproj: 570, 597, 730, 792, 946 and 1,195 km.
SHORT = (("K1QAB", "FN43"), ("W1QAA", "FN42"))
LONG = (("N1QAC", "FN33"), ("W1QAD", "FN31"), ("K2QAE", "FN21"), ("N3QAF", "FM19"))

STATIONS = (LOCAL, *SHORT, *LONG, *SOUTH_WEST)

OnBand = tuple[str, Heard]


def at(minutes: float) -> float:
    return START_S + MINUTE * minutes


def opening(
    band: str, stations: Iterable[tuple[str, str]], since_min: float = 5, until_min: float = 15, **more: int
) -> list[OnBand]:
    """The stations call from ``since_min`` on, each beginning a slot after the one before."""
    return [
        (band, replace(one, **more))
        for number, station in enumerate(stations)
        for one in calling(station, at(since_min) + 15.0 * number, at(until_min))
    ]


def local(band: str = "6m", until_min: float = 40) -> list[OnBand]:
    return [(band, one) for one in calling(LOCAL, START_S, at(until_min))]


def decode(one: Heard) -> Decode:
    return Decode(one.at_s, one.message, one.snr_db, one.dt_s, one.audio_hz)


def run(
    heard: Iterable[OnBand], bands: tuple[WatchSettings, ...] = (SIX, TEN), until_min: float = 40
) -> list[tuple[str, Change]]:
    watches, changes = Bands(bands), []
    for band, one in sorted(heard, key=lambda each: each[1].at_s):
        changes += watches.feed(decode(one), band)
    return changes + watches.tick(at(until_min))


def states(changes: Iterable[tuple[str, Change]], band: str = "6m") -> list[tuple[float, State]]:
    return [(change.at_s, change.bulletin.state) for change in told(changes, band)]


def told(changes: Iterable[tuple[str, Change]], band: str = "6m") -> list[StateChanged]:
    return [change for of, change in changes if of == band and isinstance(change, StateChanged)]


def stirring(changes: Iterable[tuple[str, Change]], band: str = "6m") -> Bulletin | None:
    found = [change.bulletin for change in told(changes, band) if change.bulletin.state is State.STIRRING]
    return found[0] if found else None


def muf_by_the_triangle(freq_mhz: float, skip_km: float) -> float:
    """The secant law worked out with the law of cosines: R = 6371.009 km (ITU-R P.533), h = 110 km."""
    r, top = 6371.009, 6371.009 + 110.0
    slant = sqrt(r**2 + top**2 - 2 * r * top * cos(skip_km / (2 * r)))
    cos_incidence = (top**2 + slant**2 - r**2) / (2 * top * slant)
    cos_at_the_horizon = sqrt(1 - (r / top) ** 2)
    return freq_mhz * cos_incidence / cos_at_the_horizon


# --- raised ------------------------------------------------------------------------------------------


def test_short_skip_on_ten_metres_raises_six_to_stirring_with_the_implied_muf_as_its_reason() -> None:
    changes = run([*local(), *opening("10m", (*SHORT, *LONG))])
    bulletin = stirring(changes)
    assert bulletin is not None
    muf_mhz = muf_by_the_triangle(28.0, 570)
    assert bulletin.because == (
        f"28 MHz skip of 570 km: MUF about {muf_mhz:.0f} MHz to the west; you hear nothing far here yet."
    )
    assert (bulletin.far_stations, bulletin.headings, bulletin.openings) == (0, (), ())


def test_it_is_stirring_from_the_instant_of_the_opening_below_until_its_end() -> None:
    changes = run([*local(), *opening("10m", (*SHORT, *LONG))])
    began, ended = (
        change.at_s for band, change in changes if band == "10m" and isinstance(change, OpeningChanged)
    )
    assert states(changes) == [(START_S, State.QUIET), (began, State.STIRRING), (ended, State.QUIET)]


def test_it_ends_when_the_short_skip_is_over_though_the_band_below_stays_open() -> None:
    short = opening("10m", SHORT, until_min=10)
    changes = run([*local(), *short, *opening("10m", LONG, until_min=35)], until_min=35)
    assert states(changes, "10m")[-1][1] is State.OPEN
    *_, (raised_s, raised), (over_s, over) = states(changes)
    assert (raised, over) == (State.STIRRING, State.QUIET)
    assert raised_s < at(10) < over_s < at(30)


@pytest.mark.parametrize(
    ("start", "is_raised"),
    [
        *(("2026-06-14T18:00:00", True), ("2026-05-14T14:00:00", True), ("2026-12-20T16:00:00", True)),
        *(("2026-10-14T18:00:00", False), ("2026-03-01T18:00:00", False)),  # backscatter is likelier
    ],
)
def test_skip_short_throughout_counts_on_shortwave_while_sporadic_e_is_in_season(
    start: str, is_raised: bool
) -> None:
    """And before the rules for VHF call it an opening, since they have to wait for any aircraft to pass."""
    later_s = seconds(start) - START_S
    heard = [*local(), *opening("10m", (*SHORT, ("K1QAF", "FN41")))]
    changes = run(
        [(band, replace(one, at_s=one.at_s + later_s)) for band, one in heard], until_min=40 + later_s / 60
    )
    assert (stirring(changes) is not None) is is_raised
    if is_raised:
        opened_s = [at_s for at_s, state in states(changes, "10m") if state is State.OPEN]
        assert states(changes)[1][0] < min(opened_s, default=float("inf"))


def test_the_skip_of_each_band_raises_only_the_next_one_up() -> None:
    bands = (SIX, TEN, FOUR)
    below = run([*local(), *opening("10m", (*SHORT, *LONG))], bands)
    assert stirring(below) is not None
    assert states(below, "4m") == [(START_S, State.QUIET)]
    there = run([*local("10m"), *opening("6m", (*SHORT, *LONG))], bands)
    assert stirring(there, "4m") is not None
    assert "50 MHz skip of 570 km: MUF about" in stirring(there, "4m").because
    assert State.STIRRING not in [state for _, state in states(there, "10m")]


@pytest.mark.parametrize(
    ("lower", "upper", "stations", "is_raised"),
    [
        (TEN, SIX, (*SHORT, *LONG), True),
        (TEN, SIX, LONG, False),  # 730 km: 48 MHz
        (SIX, FOUR, LONG, True),  # 730 km: 86 MHz
        (SIX, FOUR, LONG[-1:] + SOUTH_WEST, False),  # 1,195 km: 62 MHz
        (SIX, TWO, (*SHORT, *LONG), True),  # below 700 km by practice
        (SIX, TWO, LONG, False),
    ],
)
def test_the_muf_must_reach_the_band_above(
    lower: WatchSettings, upper: WatchSettings, stations: tuple[tuple[str, str], ...], is_raised: bool
) -> None:
    changes = run([*local(upper.band), *opening(lower.band, stations)], (upper, lower))
    assert State.OPEN in [state for _, state in states(changes, lower.band)]
    assert (stirring(changes, upper.band) is not None) is is_raised


# --- not raised ---------------------------------------------------------------------------------------


def test_weak_signals_come_from_shorter_skip_than_the_law_allows_and_say_nothing() -> None:
    changes = run([*local(), *opening("10m", SHORT, snr_db=-16), *opening("10m", LONG)])
    assert State.OPEN in [state for _, state in states(changes, "10m")]
    assert stirring(changes) is None


def test_stations_that_are_no_opening_say_nothing() -> None:
    changes = run([*local(), *opening("10m", SHORT)])
    assert states(changes, "10m")[-1][1] is not State.OPEN
    assert stirring(changes) is None


def test_a_place_known_by_its_prefix_alone_is_no_skip() -> None:
    unplaced = [("10m", replace(one, message=f"VE1QZY {one.message.split()[1]} -05")) for _, one in
                opening("10m", SHORT)]  # fmt: skip
    changes = run([*local(), *unplaced, *opening("10m", LONG)])
    assert State.OPEN in [state for _, state in states(changes, "10m")]
    assert stirring(changes) is None


def test_it_is_never_more_than_stirring_and_never_lifts_a_blind_watch() -> None:
    blind = replace(SIX, receiver=ReceiverSettings(line_silence_s=2 * MINUTE))
    changes = run([*local(until_min=1), *opening("10m", (*SHORT, *LONG))], (blind, TEN))
    assert [state for _, state in states(changes)] == [State.QUIET, State.BLIND]
    assert told(changes)[-1].bulletin.blind_reason is BlindReason.NO_LINES


def test_a_blind_watch_below_knows_of_no_skip() -> None:
    watches, changes = Bands((SIX, TEN)), []
    for band, one in sorted([*local(), *opening("10m", (*SHORT, *LONG))], key=lambda each: each[1].at_s):
        if one.at_s > at(9):
            break
        changes += watches.feed(decode(one), band)
    assert states(changes)[-1][1] is State.STIRRING
    watches.watches["10m"].feed(ReceiverFact(at(9), FactKind.SOURCE_GONE, True, "The file is gone."))
    changes = watches.tick(at(9.5)) + watches.tick(at(10))
    assert states(changes, "10m") == [(at(9), State.BLIND)]
    assert states(changes) == [(at(9), State.QUIET)]


def test_what_is_heard_on_the_band_itself_says_more_than_the_band_below() -> None:
    own = opening("6m", SOUTH_WEST[:1], since_min=8)
    bulletin = run([*local(), *own, *opening("10m", (*SHORT, *LONG))])
    assert stirring(bulletin) is not None
    watch = Watch(SIX)
    for _, one in sorted(own, key=lambda each: each[1].at_s):
        watch.feed(decode(one))
    watch.feed(LowerBandSkip(at(10), Skip(28.0, 520, 270.0, 62.0)))
    watch.tick(at(10.1))
    assert "one station is not an opening" in watch.bulletin().because


def test_an_opening_on_the_band_itself_is_as_it_would_be_without_the_band_below() -> None:
    own = [*local(), *opening("6m", SOUTH_WEST, since_min=7)]
    alone = [one for one in run(own, (SIX,)) if isinstance(one[1], OpeningChanged)]
    both = run([*own, *opening("10m", (*SHORT, *LONG))])
    assert [one for one in both if one[0] == "6m" and isinstance(one[1], OpeningChanged)] == alone
    assert alone[0][1].opening.mode is Mode.SPORADIC_E


# --- laws ---------------------------------------------------------------------------------------------


def test_neither_the_order_of_lines_nor_more_ticks_change_anything() -> None:
    heard = [*local(), *opening("10m", (*SHORT, *LONG)), *opening("6m", SOUTH_WEST, since_min=7)]
    told_once = run(heard)
    shuffled = heard.copy()
    random.Random(1).shuffle(shuffled)
    assert run(shuffled) == told_once
    watches, changes = Bands((SIX, TEN)), []
    by_time = sorted(heard, key=lambda each: each[1].at_s)
    for (band, one), (_, following) in zip(by_time, by_time[1:] + by_time[-1:], strict=True):
        changes += watches.feed(decode(one), band)
        for second in range(int(one.at_s) + 1, int(following.at_s)):
            changes += watches.tick(second)
    assert sorted(changes + watches.tick(at(40)), key=lambda each: each[1].at_s) == told_once


BOTH = (*local(until_min=1), *local("10m", until_min=1))


@st.composite
def hours(draw: st.DrawFn) -> list[OnBand]:
    """Forty minutes on two bands: runs of transmissions by stations near and far, some weak."""
    heard = list(BOTH)
    weak = draw(st.sets(st.sampled_from(STATIONS)))
    for _ in range(draw(st.integers(0, 12))):
        band, station = draw(st.sampled_from(("6m", "10m"))), draw(st.sampled_from(STATIONS))
        slot, count, every = draw(
            st.tuples(st.integers(0, 120), st.integers(1, 12), st.sampled_from((1, 2, 4)))
        )
        snr_db = -18 if station in weak else -5
        since_s = START_S + 15.0 * slot
        run_of = calling(station, since_s, since_s + 15.0 * every * count, 15.0 * every)
        heard += [(band, replace(one, snr_db=snr_db)) for one in run_of]
    return heard


def at_every_slot(told: Iterable[tuple[float, State]]) -> list[State]:
    """The state that held at each quarter of a minute."""
    changes = list(told)
    return [[state for since_s, state in changes if since_s <= at(number / 4)][-1] for number in range(160)]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(hours(), st.randoms(use_true_random=False))
@example([*BOTH, *opening("10m", (*SHORT, *LONG)), *opening("6m", SOUTH_WEST, 7)], random.Random(1))
def test_whatever_is_heard_below_adds_nothing_but_stirring_and_any_order_says_the_same(
    heard: list[OnBand], chance: random.Random
) -> None:
    together = run(heard)
    shuffled = heard.copy()
    chance.shuffle(shuffled)
    assert run(shuffled) == together
    alone = run([each for each in heard if each[0] == "6m"], (SIX,))
    allowed = {State.QUIET: {State.QUIET, State.STIRRING}}
    for there, here in zip(at_every_slot(states(together)), at_every_slot(states(alone)), strict=True):
        assert there in allowed.get(here, {here})
    below = run([each for each in heard if each[0] == "10m"], (TEN,))
    assert states(together, "10m") == states(below, "10m")


def test_one_band_alone_is_a_watch_of_its_own() -> None:
    heard = [*local(), *opening("6m", SOUTH_WEST)]
    watch, changes = Watch(SIX), []
    for _, one in sorted(heard, key=lambda each: each[1].at_s):
        changes += watch.feed(decode(one))
    assert [change for _, change in run(heard, (SIX,))] == changes + watch.tick(at(40))


def test_changes_come_in_the_order_of_time() -> None:
    times = [change.at_s for _, change in run([*local(), *opening("10m", (*SHORT, *LONG))])]
    assert times == sorted(times)
    assert times[:2] == [START_S, START_S]  # both bands speak from the first line's time on


@pytest.mark.parametrize(
    ("freq_mhz", "band"),
    [
        *((None, "6m"), (50.313, "6m"), (28.0, "10m"), (28.074, "10m"), (29.7, "10m")),
        (14.074, "6m"),  # whose watch counts it and does not use it
    ],
)
def test_the_frequency_selects_the_band(freq_mhz: float | None, band: str) -> None:
    assert band_of(freq_mhz, (SIX, TEN)) == band
