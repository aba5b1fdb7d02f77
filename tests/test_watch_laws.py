"""Laws of the core: what may change in how it is fed and asked, and what it says stays the same."""

from collections.abc import Sequence
from dataclasses import replace
from random import Random

from hypothesis import example, given, settings
from hypothesis import strategies as st
from nights import BEYOND_4000_KM, HOME, LOCAL, OWN_CALL, SCATTERED, SOUTH_WEST, seconds

from sentinel.watch.bulletin import Bulletin, State
from sentinel.watch.changes import Change
from sentinel.watch.decode import Decode
from sentinel.watch.settings import ReceiverSettings, WatchSettings
from sentinel.watch.watch import Watch

START_S = seconds("2026-06-14T20:00:00")
SLOT_S = 15.0
END_S = START_S + 3_600.0
NEAR = (LOCAL, ("VE1QAA", "FN74"), ("VE1QAB", "FN85"), ("VE1QAC", "FN84"), ("VE9QAD", "FN65"))
FAR = (*SOUTH_WEST, BEYOND_4000_KM, *SCATTERED)
SETTINGS = WatchSettings(
    HOME, own_call=OWN_CALL, receiver=ReceiverSettings(frozenset({LOCAL[0]}), 600.0, line_silence_s=900.0)
)
QUICK = settings(max_examples=40)

Feed = Sequence[Decode]


def watched(
    feed: Feed, *, ticks: Random | None = None, looks: Random | None = None
) -> list[Change | Bulletin]:
    """All that is said of the feed, and how it stands at the end. ``ticks`` lets time pass in small steps in
    between; with ``looks`` someone reads the bulletin now and then."""
    watch = Watch(SETTINGS)
    told: list[Change | Bulletin] = []
    now_s = START_S
    for decode in feed:
        while ticks is not None and watch.has_verdict and now_s < decode.at_s:
            now_s = min(decode.at_s, now_s + ticks.uniform(0.1, 2 * SLOT_S))
            told += watch.tick(now_s)
            if looks is not None and looks.random() < 0.5:
                watch.bulletin()
        told += watch.feed(decode)
        now_s = max(now_s, decode.at_s)
        if ticks is not None and ticks.random() < 0.3:
            told += watch.tick(now_s)  # within an instant nothing is judged
    told += watch.tick(END_S)
    return [*told, watch.bulletin()]


MODES = ("FT8", "FT4", "WSPR", None)
NUMBERS = st.tuples(
    st.none() | st.integers(-24, 12).map(float),
    st.none() | st.sampled_from((-2.3, -0.4, 0.1, 1.1, 1.9, 2.4)),
    st.none() | st.integers(200, 2_800).map(float),
)


@st.composite
def feeds(draw: st.DrawFn, *, dt_s: float | None = None) -> list[Decode]:
    """Up to forty minutes in the order of time: runs of transmissions with and without locators, weak and
    strong, each also with a clock of its own unless ``dt_s`` is all their clocks'."""
    feed = [Decode(START_S, f"CQ {LOCAL[0]} {LOCAL[1][:4]}", -3.0, 0.1)]
    for _ in range(draw(st.integers(0, 10))):
        call, square = draw(st.sampled_from((*NEAR, *FAR)))
        message = f"CQ {call} {square[:4]}"
        first, count, step = draw(
            st.tuples(st.integers(0, 150), st.integers(1, 10), st.sampled_from((1, 2, 4)))
        )
        snr_db, own_dt_s, audio_hz = draw(NUMBERS)
        for slot in range(first, min(160, first + count * step), step):
            at_s = START_S + SLOT_S * slot
            feed.append(Decode(at_s, message, snr_db, own_dt_s if dt_s is None else dt_s, audio_hz))
    return sorted(feed, key=lambda decode: decode.at_s)


def shuffled_within_slots(feed: Feed, rng: Random) -> list[Decode]:
    return sorted(feed, key=lambda decode: (decode.at_s, rng.random()))


TWICE_IN_A_SLOT = [
    Decode(START_S + 60.0 * minute, f"CQ {call} {square[:4]}", snr_db, dt_s, audio_hz)
    for minute in range(3)
    for (call, square), snr_db, dt_s, audio_hz in (
        (NEAR[0], -3.0, 2.4, 900.0),
        (NEAR[1], -3.0, 2.1, 950.0),
        (NEAR[2], -3.0, 0.1, 1_000.0),
        (NEAR[0], -9.0, 0.2, 1_100.0),
        (FAR[0], -3.0, 0.1, 1_200.0),
        (FAR[0], -18.0, 2.4, 1_300.0),
    )
]


@QUICK
@given(feeds(), st.randoms(use_true_random=False))
@example(TWICE_IN_A_SLOT, Random(1))
@example(TWICE_IN_A_SLOT, Random(2))
@example(TWICE_IN_A_SLOT, Random(3))
def test_the_order_of_the_lines_within_a_slot_changes_nothing_that_is_said(feed: Feed, rng: Random) -> None:
    """The whole bulletin, not the state alone: strengths, offsets and the clock too, also where one station
    was decoded twice in a slot."""
    assert watched(shuffled_within_slots(feed, rng)) == watched(feed)


@QUICK
@given(feeds(), st.randoms(use_true_random=False))
def test_neither_ticks_nor_looks_change_anything_that_is_said(feed: Feed, rng: Random) -> None:
    assert watched(feed, ticks=rng, looks=rng) == watched(feed)


@QUICK
@given(feeds(), st.randoms(use_true_random=False))
def test_lines_that_name_nobody_change_nothing_but_the_counts(feed: Feed, rng: Random) -> None:
    """Free text and telemetry (types 0.0 and 0.5 of the FT8 protocol paper, from memory)."""
    nobody = [Decode(d.at_s, rng.choice(("TNX BOB 73 GL", "123456789ABCDEF012")), -9.0) for d in feed]
    *told, bulletin = watched(sorted((*feed, *nobody), key=lambda decode: decode.at_s))
    *expected, plain = watched(feed)
    assert [_uncounted(each) for each in told] == [_uncounted(each) for each in expected]
    assert isinstance(bulletin, Bulletin) and isinstance(plain, Bulletin)
    assert bulletin.receiver.rejected == plain.receiver.rejected + len(nobody)
    assert replace(bulletin, receiver=plain.receiver) == plain


def _uncounted(change: Change | Bulletin) -> object:
    bulletin = getattr(change, "bulletin", None)
    return (
        change
        if bulletin is None
        else replace(bulletin, receiver=Bulletin.__dataclass_fields__["receiver"].default_factory())
    )  # type: ignore[misc]


@QUICK
@given(feeds(), feeds())
def test_what_is_heard_on_another_band_changes_nothing(feed: Feed, elsewhere: Feed) -> None:
    other = [replace(decode, freq_mhz=28.074) for decode in elsewhere]
    *told, bulletin = watched(sorted((*feed, *other), key=lambda decode: decode.at_s))
    *expected, plain = watched(feed)
    assert [_uncounted(each) for each in told] == [_uncounted(each) for each in expected]
    assert isinstance(bulletin, Bulletin) and isinstance(plain, Bulletin)
    assert replace(bulletin, receiver=plain.receiver) == plain


ANY_DECODE = st.builds(
    lambda station, at_s, numbers, mode, form: Decode(
        at_s, form.format(call=station[0], square=station[1][:4]), *numbers, mode=mode
    ),
    st.sampled_from((*NEAR, *FAR, (OWN_CALL, HOME))),
    st.floats(START_S - 100.0, START_S + 1_500.0) | st.integers(0, 200).map(lambda n: START_S + 7.5 * n),
    NUMBERS,
    st.sampled_from(MODES),
    st.sampled_from(
        ("CQ {call} {square}", "VE1QBC {call} -07", "{call} VE1QBC RR73", "{call} {square} 33", "{call}")
    ),
)


@settings(max_examples=60)
@given(st.lists(ANY_DECODE, max_size=60), st.randoms(use_true_random=False))
def test_whatever_comes_in_whatever_order_the_watch_goes_on_and_what_it_says_fits_together(
    feed: list[Decode], rng: Random
) -> None:
    """Late lines, clocks that run back, every mode, messages of every form."""
    watch = Watch(SETTINGS)
    previous, told_at_s = None, float("-inf")
    for decode in feed:
        changes = watch.feed(decode)
        if rng.random() < 0.3 and watch.has_verdict:
            changes += watch.tick(watch.now_s + rng.uniform(0.0, 40.0))
        for change in changes:
            assert change.at_s >= told_at_s
            told_at_s = change.at_s
            if (bulletin := getattr(change, "bulletin", None)) is not None:
                assert bulletin.previous is previous is not bulletin.state
                previous = bulletin.state
        if watch.has_verdict:
            _fits_together(watch.bulletin())
    watch.tick(START_S + 86_400.0)
    if watch.has_verdict:
        assert watch.bulletin().openings == ()


def _fits_together(bulletin: Bulletin) -> None:
    if bulletin.state is State.BLIND:
        assert bulletin.blind_reason is not None
        assert (bulletin.far_stations, bulletin.headings, bulletin.openings) == (None, (), ())
        return
    assert bulletin.blind_reason is None
    assert bulletin.far_stations == sum(heading.stations for heading in bulletin.headings)
    assert (bulletin.state is State.OPEN) == bool(bulletin.openings)
    assert bulletin.because.endswith(".")
