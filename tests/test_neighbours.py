"""What neighbours hear raises stirring and a warning, and nothing more, however they lie."""

import random
from collections.abc import Iterable, Sequence
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from nights import HOME, LOCAL, OWN_CALL, SLOT_S, SOUTH_WEST, Heard, calling, seconds
from pyproj import Geod

from sentinel.trade.locator import center_of, locator_of, square_of
from sentinel.watch.bulletin import Bulletin, State
from sentinel.watch.changes import Change, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.neighbours import (
    HOLD_OPEN_S,
    LASTING_S,
    LIFE_S,
    MOST_NEIGHBOURS,
    MOST_SQUARES,
    MOST_STATIONS,
    NeighbourHeard,
    Neighbourhood,
    NeighbourReport,
    squares_within,
    together,
)
from sentinel.watch.settings import ReceiverSettings, WatchSettings
from sentinel.watch.watch import Watch

START_S = seconds("2026-06-14T20:00:00")
MINUTE = 60.0
SETTINGS = WatchSettings(HOME, own_call=OWN_CALL)
NEAR = ("FN84", "FN74", "FN85", "FN83", "FN94")  # by the map: all touch FN84
FAR_SQUARES = ("FN31", "IO91", "FN86")

Word = NeighbourReport | NeighbourHeard


def at(minutes: float) -> float:
    return START_S + MINUTE * minutes


def report(
    node: str,
    state: State = State.OPEN,
    minutes: float = 1.0,
    bearing_deg: float | None = 315.0,
    **more: object,
) -> NeighbourReport:
    bearing = bearing_deg if state is State.OPEN else None
    word = NeighbourReport(at(minutes), node, "FN84", state, at(minutes), bearing)
    return replace(word, **more)


def five(open_count: int, minutes: float = 1.0, bearing_deg: float = 315.0) -> list[NeighbourReport]:
    """Five neighbours in five squares, so many of them open."""
    states = [State.OPEN] * open_count + [State.QUIET] * (5 - open_count)
    return [
        report(f"node{i}", state, minutes, bearing_deg, locator=NEAR[i]) for i, state in enumerate(states)
    ]


def local(minutes: float) -> list[Decode]:
    """A local station until then, which makes time pass and nothing else."""
    return [decode(one) for one in calling(LOCAL, START_S, at(minutes))]


def decode(one: Heard) -> Decode:
    return Decode(one.at_s, one.message, one.snr_db, one.dt_s, one.audio_hz)


def run(events: Iterable[Decode | Word], until_s: float, settings: WatchSettings = SETTINGS) -> list[Change]:
    """All changes of a watch fed these, in the order of their times (kept for those of one time)."""
    watch, changes = Watch(settings), []
    for event in sorted(events, key=lambda event: event.at_s):
        changes += watch.feed(event)
    return changes + watch.tick(until_s)


def states(changes: Iterable[Change]) -> list[tuple[float, State]]:
    return [(change.at_s, change.bulletin.state) for change in changes if isinstance(change, StateChanged)]


def last(changes: Sequence[Change]) -> Bulletin:
    return [change.bulletin for change in changes if isinstance(change, StateChanged)][-1]


# --- what they say together -------------------------------------------------------------------------


def test_three_of_five_that_are_open_raise_stirring_with_that_reason() -> None:
    changes = run([*local(10), *five(3)], at(10))
    assert states(changes) == [(at(0), State.QUIET), (at(1), State.STIRRING)]
    bulletin = last(changes)
    assert bulletin.because == (
        "Neighbours: 3 of 5 within 300 km are open to the north-west; you hear nothing."
    )
    assert (bulletin.far_stations, bulletin.headings, bulletin.openings) == (0, (), ())


@pytest.mark.parametrize(
    ("open_count", "of", "is_heard"),
    [
        *((1, 1, True), (1, 2, False), (2, 2, True), (1, 3, False)),
        *((2, 6, True), (2, 7, False), (3, 9, True), (3, 10, False)),
    ],
)  # fmt: skip
def test_a_third_is_needed_and_one_voice_counts_only_uncontradicted(
    open_count: int, of: int, is_heard: bool
) -> None:
    words = [report(f"node{i}", State.OPEN if i < open_count else State.QUIET) for i in range(of)]
    assert (states(run([*local(5), *words], at(5)))[-1][1] is State.STIRRING) is is_heard


def test_one_neighbour_is_told_of_in_the_singular() -> None:
    assert "1 of 1 within 300 km is open" in last(run([*local(5), report("a")], at(5))).because


def test_a_neighbour_has_one_vote_however_often_it_speaks() -> None:
    words = [report("liar", minutes=1 + i / 10) for i in range(20)]
    quiet = [report("b", State.QUIET), report("c", State.QUIET)]
    assert states(run([*local(10), *words, *quiet], at(10))) == [(at(0), State.QUIET)]


def test_blind_neighbours_and_those_who_only_stir_do_not_make_it_stir() -> None:
    blind = [report(f"blind{i}", State.BLIND) for i in range(9)]
    stirring = [report(f"stirring{i}", State.STIRRING) for i in range(3)]
    assert states(run([*local(5), *blind, *stirring], at(5)))[-1][1] is State.QUIET
    # but the blind ones outvote nobody either
    assert states(run([*local(5), *blind, *five(2)], at(5)))[-1][1] is State.STIRRING


def test_two_who_hear_opposite_directions_are_no_company() -> None:
    words = [report("a", bearing_deg=10.0), report("b", bearing_deg=190.0), report("c", State.QUIET)]
    assert states(run([*local(5), *words], at(5)))[-1][1] is State.QUIET


def test_two_who_hear_across_north_are() -> None:
    words = [report("a", bearing_deg=350.0), report("b", bearing_deg=20.0), report("c", State.QUIET)]
    assert "2 of 3 within 300 km are open to the north;" in last(run([*local(5), *words], at(5))).because


def test_who_is_out_of_reach_has_no_say() -> None:
    far = [report(f"node{i}", locator=square) for i, square in enumerate(("FN82", "FN86"))]
    assert states(run([*local(5), *far], at(5), replace(SETTINGS, neighbours_km=200.0)))[-1][1] is State.QUIET
    assert (
        states(run([*local(5), *far], at(5), replace(SETTINGS, neighbours_km=250.0)))[-1][1] is State.STIRRING
    )


@pytest.mark.parametrize("home", ["FN84", "IO91", "RR40", "AA00", "JJ00", "RE78"])
@pytest.mark.parametrize("reach_km", [10.0, 150.0, 300.0])
def test_the_squares_within_reach_are_those_that_pyproj_finds(home: str, reach_km: float) -> None:
    geod, here = Geod(ellps="WGS84"), center_of(home)
    apart_km = {}
    for lat_deg in range(-90, 90):
        for lon_deg in range(-180, 180, 2):
            if abs(lat_deg + 0.5 - here.lat_deg) < 5:
                _, _, metres = geod.inv(here.lon_deg, here.lat_deg, lon_deg + 1.0, lat_deg + 0.5)
                apart_km[locator_of(lat_deg + 0.5, lon_deg + 1.0, 4)] = metres / 1000
    within = {square for square, km in apart_km.items() if km <= reach_km}
    found = squares_within(home, reach_km)
    assert len(found) == min(len(within), MOST_SQUARES)
    assert set(found) <= within
    assert found[0] == home


def test_each_kind_of_word_counts_from_the_squares_within_reach_alone() -> None:
    spots = [heard("VE1QBB", *station, receiver_locator="FN86aa") for station in SOUTH_WEST]
    for word in (spots, [report("a", locator="FN86")]):
        for reach_km, is_heard in ((200.0, False), (250.0, True)):
            known = Neighbourhood(HOME, reach_km, 500.0)
            for each in word:
                known.hear(each, at(1))
            assert (known.judge(at(1), hears_far=False, is_blind=False) is not None) is is_heard


# --- for how long -----------------------------------------------------------------------------------


def test_a_word_counts_for_a_quarter_of_an_hour_to_the_second() -> None:
    changes = run([*local(30), *five(3)], at(30))
    assert states(changes)[1:] == [(at(1), State.STIRRING), (at(1) + LIFE_S, State.QUIET)]


def test_an_old_word_counts_for_what_is_left_of_it() -> None:
    old = [replace(word, said_at_s=at(1) - 600.0) for word in five(3)]
    assert states(run([*local(30), *old], at(30)))[-1] == (at(1) + LIFE_S - 600.0, State.QUIET)


def test_a_word_from_the_future_counts_from_now() -> None:
    early = [replace(word, said_at_s=at(3)) for word in five(3)]
    assert states(run([*local(30), *early], at(30)))[-1] == (at(1) + LIFE_S, State.QUIET)


def test_an_end_is_believed_after_five_minutes_so_nobody_can_make_it_flicker() -> None:
    flicker = [report("a", State.OPEN if i % 2 else State.QUIET, 1 + i / 2) for i in range(20)]
    changes = run([*local(30), *flicker], at(30))
    assert states(changes)[1:] == [(at(1.5), State.STIRRING), (at(10.5) + LIFE_S, State.QUIET)]
    ended = [report("a"), report("a", State.QUIET, 2)]
    assert states(run([*local(30), *ended], at(30)))[-1] == (at(1) + HOLD_OPEN_S, State.QUIET)


def test_who_has_left_is_no_longer_counted_and_after_five_minutes_no_longer_open() -> None:
    left = [report("a"), report("a", State.BLIND, 2)]
    assert states(run([*local(30), *left], at(30)))[-1] == (at(1) + HOLD_OPEN_S, State.QUIET)
    lone = [report("b", minutes=3), report("c", State.QUIET), report("c", State.BLIND, 5)]
    assert states(run([*local(30), *lone], at(30)))[1] == (at(5), State.STIRRING)


def test_a_core_that_goes_through_the_past_again_hears_each_word_when_it_was_said() -> None:
    known = Neighbourhood(HOME, 300.0, 500.0)
    for word in [report("a", minutes=60), *(heard("VE1QBB", *each, minutes=60) for each in SOUTH_WEST)]:
        known.hear(word, at(60))
    assert known.judge(at(5), hears_far=False, is_blind=False) is None
    assert known.due_s == at(60)
    assert known.judge(at(60), hears_far=False, is_blind=False) is not None


def test_a_clock_that_was_set_takes_the_words_along() -> None:
    known = Neighbourhood(HOME, 300.0, 500.0)
    for word in [report("a"), *(heard("VE1QBB", *station) for station in SOUTH_WEST)]:
        known.hear(word, at(1))
    known.move_clock(3600.0)
    for moment, is_heard in ((at(61) + LIFE_S - 1, True), (at(61) + LIFE_S, False)):
        assert (known.judge(moment, hears_far=False, is_blind=False) is not None) is is_heard


def test_a_clock_that_went_back_keeps_no_word_for_longer() -> None:
    known = Neighbourhood(HOME, 300.0, 500.0)
    for word in [report("a", minutes=90), *(heard("VE1QBB", *each, minutes=90) for each in SOUTH_WEST)]:
        known.hear(word, at(90))
    known.move_clock(not_after_s=at(30))
    assert known.judge(at(30) + LIFE_S, hears_far=False, is_blind=False) is None


def test_blind_stays_blind_and_tells_nothing_of_the_antenna() -> None:
    deaf = replace(SETTINGS, receiver=ReceiverSettings(canaries=frozenset({"VE1QBD"}), canary_silence_s=60.0))
    words = [word for minute in range(1, 100, 5) for word in five(4, minute)]
    watch = Watch(deaf)
    for event in sorted([*local(100), *words], key=lambda event: event.at_s):
        watch.feed(event)
    watch.tick(at(100))
    assert watch.bulletin().state is State.BLIND
    assert not any("Neighbours" in note for note in watch.bulletin().receiver.notes)


# --- a difference that lasts ------------------------------------------------------------------------


def notes(events: Iterable[Decode | Word], until_s: float) -> list[str]:
    watch = Watch(SETTINGS)
    for event in sorted((each for each in events if each.at_s < until_s), key=lambda event: event.at_s):
        watch.feed(event)
    watch.tick(until_s)
    return [note for note in watch.bulletin().receiver.notes if note.startswith("Neighbours")]


def missed(minutes: float, open_count: int = 3) -> list[NeighbourReport]:
    """Neighbours that are open for so long, from the first minute on."""
    return [word for minute in range(1, int(minutes) + 1, 5) for word in five(open_count, minute)]


def test_a_difference_that_lasts_an_hour_warns_of_receiver_and_antenna() -> None:
    events = [*local(80), *missed(70)]
    assert notes(events, at(1) + LASTING_S - 1) == []
    [note] = notes(events, at(1) + LASTING_S)
    assert note == (
        "Neighbours within 300 km were open for 60 min while nothing far came through here: "
        "check antenna, feed line and receiver."
    )
    assert notes(events, at(300)) != []  # it stands until something is heard


def test_several_openings_that_were_missed_add_up() -> None:
    first, second = missed(20), [replace(w, at_s=w.at_s + 7200, said_at_s=w.at_s + 7200) for w in missed(30)]
    assert notes([*local(200), *first], at(199)) == []
    assert len(notes([*local(200), *first, *second], at(199))) == 1


def test_a_far_station_that_comes_through_here_ends_the_warning() -> None:
    heard = [decode(one) for one in calling(SOUTH_WEST[0], at(75), at(76))]
    events = [*local(80), *missed(70)]
    assert notes([*events, *heard], at(74)) != []
    assert notes([*events, *heard], at(78)) == []


def test_one_neighbour_alone_warns_of_nothing() -> None:
    alone = [report("a", minutes=minute) for minute in range(1, 100, 5)]
    assert states(run([*local(100), *alone], at(99)))[-1][1] is State.STIRRING
    assert notes([*local(100), *alone], at(99)) == []


# --- what somebody says that somebody heard -----------------------------------------------------------


def heard(receiver: str, call: str, locator: str, minutes: float = 1.0, **more: object) -> NeighbourHeard:
    place = center_of(locator)
    word = NeighbourHeard(
        at(minutes), receiver, "FN84cd", call, place.lat_deg, place.lon_deg, heard_at_s=at(minutes)
    )
    return replace(word, **more)


def test_reports_of_three_far_stations_in_one_direction_are_a_neighbour_that_is_open() -> None:
    words = [heard("VE1QBB", call, square) for call, square in SOUTH_WEST[:3]]
    assert last(run([*local(5), *words], at(5))).because == (
        "Neighbours: 1 of 1 within 300 km is open to the south-west; you hear nothing."
    )
    assert states(run([*local(5), *words[:2]], at(5)))[-1][1] is State.QUIET


def test_the_same_station_told_three_times_is_one() -> None:
    words = [heard("VE1QBB", *SOUTH_WEST[0], minutes=1 + i) for i in range(3)]
    assert states(run([*local(5), *words], at(5)))[-1][1] is State.QUIET


def test_a_receiver_that_hears_only_near_stations_has_a_vote_and_is_not_open() -> None:
    words = [heard("VE1QBB", f"VE1QC{letter}", "FN74") for letter in "ABCD"]
    lone = [report("a")]
    assert states(run([*local(5), *words], at(5)))[-1][1] is State.QUIET
    assert states(run([*local(5), *words, *lone], at(5)))[-1][1] is State.QUIET
    assert states(run([*local(5), *lone], at(5)))[-1][1] is State.STIRRING


def test_a_place_known_only_by_its_prefix_is_far_when_it_surely_is() -> None:
    def open_by(uncertainty_km: float) -> bool:
        words = [heard("VE1QBB", *station, uncertainty_km=uncertainty_km) for station in SOUTH_WEST[:3]]
        return states(run([*local(5), *words], at(5)))[-1][1] is State.STIRRING

    assert open_by(500.0)
    assert not open_by(1500.0)


def test_reports_count_for_a_quarter_of_an_hour_each() -> None:
    words = [heard("VE1QBB", *station, minutes=1 + i) for i, station in enumerate(SOUTH_WEST[:3])]
    assert states(run([*local(30), *words], at(30)))[1:] == [
        (at(3), State.STIRRING),
        (at(1) + LIFE_S, State.QUIET),
    ]


# --- laws ---------------------------------------------------------------------------------------------


MOMENTS = st.floats(0, 120).map(lambda minutes: at(round(minutes * 4) / 4))
REPORTS = st.builds(
    NeighbourReport,
    at_s=MOMENTS,
    node=st.sampled_from([f"node{i}" for i in range(6)]),
    locator=st.sampled_from([*NEAR, *FAR_SQUARES]),
    state=st.sampled_from(State),
    said_at_s=MOMENTS,
    bearing_deg=st.none() | st.floats(0, 359.9),
)
HEARD = st.builds(
    NeighbourHeard,
    at_s=MOMENTS,
    receiver=st.sampled_from(["VE1QBB", "VE1QBF", "W1QBG"]),
    receiver_locator=st.sampled_from(["FN84cd", "FN74", "IO91"]),
    call=st.sampled_from([f"W{digit}QA{letter}" for digit in "12" for letter in "ABCD"]),
    lat_deg=st.floats(-90, 90),
    lon_deg=st.floats(-180, 180),
    heard_at_s=MOMENTS,
)
WORDS = st.lists(REPORTS | HEARD, max_size=40)
STATIONS = (*SOUTH_WEST, ("VO1QAH", "GN37"), LOCAL, ("DL5QAB", "JN58"))
LAWFUL = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)


@st.composite
def hours(draw: st.DrawFn) -> list[Decode]:
    """Up to fifty minutes of stations near and far."""
    found = [Heard(START_S, f"CQ {LOCAL[0]} {LOCAL[1][:4]}")]
    for _ in range(draw(st.integers(0, 8))):
        call, square = draw(st.sampled_from(STATIONS))
        first, count, step = draw(
            st.tuples(st.integers(0, 160), st.integers(1, 12), st.sampled_from((1, 2, 4)))
        )
        found += [
            Heard(START_S + SLOT_S * slot, f"CQ {call} {square[:4]}")
            for slot in range(first, min(first + count * step, 200), step)
        ]
    return [decode(one) for one in sorted(found)]


def said(changes: Iterable[Change]) -> list[object]:
    """The changes without what a bulletin counts of the lines of the next moment."""
    return [
        (change.at_s, change.bulletin.state, change.bulletin.because, change.bulletin.receiver.notes)
        if isinstance(change, StateChanged)
        else change
        for change in changes
    ]


def state_at(told: Sequence[tuple[float, State]], at_s: float) -> State:
    return [state for since_s, state in told if since_s <= at_s][-1]


@LAWFUL
@given(decodes=hours(), words=WORDS)
def test_lying_neighbours_change_no_opening_and_turn_nothing_but_quiet_into_stirring(
    decodes: list[Decode], words: list[Word]
) -> None:
    alone, among_liars = run(decodes, at(150)), run([*decodes, *words], at(150))

    def heard_here(changes: Sequence[Change]) -> list[Change]:
        return [change for change in changes if not isinstance(change, StateChanged)]

    assert heard_here(among_liars) == heard_here(alone)
    truth, told = states(alone), states(among_liars)
    for moment in [at_s for at_s, _ in (*truth, *told)]:
        here, there = state_at(truth, moment), state_at(told, moment)
        assert here is there or (here, there) == (State.QUIET, State.STIRRING)


@LAWFUL
@given(decodes=hours(), words=WORDS, rng=st.randoms(use_true_random=False))
def test_neither_the_order_of_words_of_one_moment_nor_ticks_change_anything(
    decodes: list[Decode], words: list[Word], rng: random.Random
) -> None:
    events = [*decodes, *words]
    rng.shuffle(events)
    watch, changes, now_s = Watch(SETTINGS), [], START_S
    for event in sorted(events, key=lambda event: event.at_s):
        while watch.has_verdict and now_s < event.at_s:
            now_s = min(event.at_s, now_s + rng.uniform(1.0, 400.0))
            changes += watch.tick(now_s)
        changes += watch.feed(event)
        now_s = max(now_s, event.at_s)
    assert said(changes + watch.tick(at(150))) == said(run([*decodes, *words], at(150)))


@given(bearings=st.lists(st.floats(0, 359.99), max_size=12))
def test_the_largest_company_within_a_quarter_is_found(bearings: list[float]) -> None:
    """Against trying every bearing as the first of the company."""
    sizes = [sum((other - first) % 360.0 <= 90.0 for other in bearings) for first in bearings]
    assert len(together(bearings)) == max(sizes, default=0)


def test_no_number_of_names_fills_the_memory() -> None:
    known = Neighbourhood(HOME, 300.0, 500.0)
    for i in range(3 * MOST_NEIGHBOURS):
        known.hear(report(f"liar{i}", minutes=i / 1000), at(i / 1000))
        known.hear(heard(f"VE1Q{i}", *SOUTH_WEST[0], minutes=i / 1000), at(i / 1000))
    for i in range(3 * MOST_STATIONS):
        known.hear(heard("VE1QBB", f"W{i}QAA", "EM83", minutes=2 + i / 1000), at(2 + i / 1000))
    hint = known.judge(at(3), hears_far=False, is_blind=False)
    assert hint is not None
    assert hint.of == MOST_NEIGHBOURS
    assert len(list(known.changes_s())) <= 3 * MOST_NEIGHBOURS + MOST_STATIONS


def test_home_is_only_known_to_its_square() -> None:
    """Two stations of one square weigh their neighbours alike, so what they do tells no finer place."""
    assert square_of(HOME) == "FN84"
    for reach_km in range(50, 600, 25):
        answers = set()
        for home in ("FN84aa", "FN84xx"):
            known = Neighbourhood(home, float(reach_km), 500.0)
            for i, square in enumerate([*NEAR, *FAR_SQUARES]):
                known.hear(report(f"node{i}", locator=square), at(1))
            answers.add(known.judge(at(1), hears_far=False, is_blind=False))
        assert len(answers) == 1
