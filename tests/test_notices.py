"""What people are told: an opening once, again only when it gets better, nothing while nobody wants it."""

import json
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from wire_samples import NOON_S, open_bulletin, opening

from sentinel.attention import Attention
from sentinel.outputs.notices import GAP_S, RANKS, STALE_S, Notices
from sentinel.watch.bulletin import Bulletin, Notable, Opening, State
from sentinel.watch.changes import Change, NotableHappened, OpeningChanged, Phase, StateChanged


def bulletin(*living: Opening, at_s: float = NOON_S) -> Bulletin:
    return replace(open_bulletin(), at_s=at_s, openings=living)


def began(one: Opening, at_s: float = NOON_S) -> OpeningChanged:
    return OpeningChanged(at_s, Phase.BEGAN, one)


def ended(one: Opening, at_s: float = NOON_S) -> OpeningChanged:
    return OpeningChanged(at_s, Phase.ENDED, replace(one, ended_at_s=at_s))


def event(what: str, of: str | None = "a", at_s: float = NOON_S) -> NotableHappened:
    return NotableHappened(at_s, Notable(f"{of}-{what}-{at_s:.0f}", at_s, what, "SV1QAB", "So.", of))


def tell(
    notices: Notices,
    *changes: Change,
    living: tuple[Opening, ...] = (),
    at_s: float = NOON_S,
    wanted: bool = True,
) -> list[str]:
    """What is told of the changes, in words."""
    told = notices.tell(changes, bulletin(*living, at_s=at_s), is_wanted=wanted)
    return [
        f"{change.opening.id} {change.phase.value}"
        if isinstance(change, OpeningChanged)
        else f"{change.notable.opening_id} {change.notable.what}"
        for change in told
        if not isinstance(change, StateChanged)
    ]


A, B = opening("a"), opening("b")


def test_a_beginning_and_an_end_are_told_once_however_often_they_are_reported() -> None:
    notices = Notices()
    assert tell(notices, began(A), began(A), living=(A,)) == ["a began"]
    assert tell(notices, began(A), living=(A,)) == []
    assert tell(notices, ended(A), ended(A)) == ["a ended"]
    assert tell(notices, began(A), ended(A)) == []


def test_a_beginning_is_told_as_the_opening_stands_then() -> None:
    grown = replace(A, stations=9)
    (told,) = Notices().tell([began(A)], bulletin(grown), is_wanted=True)
    assert isinstance(told, OpeningChanged)
    assert (told.at_s, told.opening) == (NOON_S, grown)


def test_an_opening_that_is_over_before_anything_was_told_is_not_told_at_all() -> None:
    assert tell(Notices(), began(A), ended(A)) == []


def test_of_what_comes_with_an_opening_only_the_best_is_told_after_a_while() -> None:
    notices = Notices()
    first = tell(notices, began(A), event("voice"), event("new-country"), event("new-square"), living=(A,))
    assert first == ["a began"]
    assert tell(notices, living=(A,), at_s=NOON_S + GAP_S - 1) == []
    assert tell(notices, living=(A,), at_s=NOON_S + GAP_S) == ["a new-country"]
    assert tell(notices, event("voice", at_s=NOON_S + 500), living=(A,), at_s=NOON_S + 500) == []


def test_an_opening_is_told_again_only_when_it_is_better_than_ever() -> None:
    notices, told, at_s = Notices(), [], NOON_S
    tell(notices, began(A), living=(A,))
    for what in ("cw", "new-square", "unusual", "voice", "new-square", "new-country", "farthest"):
        at_s += GAP_S
        told += tell(notices, event(what, at_s=at_s), living=(A,), at_s=at_s)
    assert told == ["a new-square", "a voice", "a new-country"]


def test_nothing_but_ends_is_told_while_nobody_wants_to_hear() -> None:
    notices = Notices()
    tell(notices, began(A), living=(A,))
    assert tell(notices, event("voice"), event("odd", None), began(B), living=(A, B), wanted=False) == []
    assert tell(notices, ended(A), living=(B,), wanted=False) == ["a ended"]


def test_an_opening_that_outlives_the_quiet_hours_is_told_at_their_end() -> None:
    notices = Notices()
    assert tell(notices, began(A), began(B), living=(A, B), wanted=False) == []
    assert tell(notices, ended(B), living=(A,), wanted=False) == []
    assert tell(notices, living=(A,), at_s=NOON_S + 9 * 3600) == ["a began"]


def test_what_was_acknowledged_is_told_no_more_and_what_begins_later_is() -> None:
    notices = Notices()
    tell(notices, began(A), living=(A,))
    notices.acknowledge(bulletin(A))
    late_s = NOON_S + GAP_S
    assert tell(notices, event("new-country", at_s=late_s), living=(A,), at_s=late_s) == []
    assert tell(notices, began(B), living=(A, B), at_s=late_s) == ["b began"]
    assert tell(notices, ended(A), living=(B,), at_s=late_s) == ["a ended"]


def test_an_event_of_no_opening_is_told_at_once_unless_it_is_history() -> None:
    assert tell(Notices(), event("odd", None)) == ["None odd"]
    assert tell(Notices(), event("odd", None), at_s=NOON_S + STALE_S + 1) == []


def test_nothing_is_told_of_a_state() -> None:
    assert Notices().tell([StateChanged(NOON_S, bulletin())], bulletin(), is_wanted=True) == []


def restarted(notices: Notices, *living: Opening) -> Notices:
    return Notices.from_json(json.loads(json.dumps(notices.as_json())), living)


def test_over_a_restart_nothing_is_told_twice_and_what_waits_still_waits() -> None:
    notices = Notices()
    tell(notices, began(A), living=(A,))
    late_s = NOON_S + GAP_S
    tell(notices, event("new-field", at_s=late_s), living=(A,), at_s=late_s)
    tell(notices, began(B), living=(A, B), at_s=late_s, wanted=False)
    notices = restarted(notices, A, B)
    later_s = late_s + GAP_S
    told = tell(notices, began(A), event("voice", at_s=later_s), living=(A, B), at_s=later_s)
    assert told == ["b began"]


@given(
    st.one_of(
        st.none(), st.integers(), st.text(), st.lists(st.integers()),
        st.dictionaries(st.sampled_from(["a", "b"]), st.one_of(st.none(), st.lists(st.text(), max_size=4))),
    )
)  # fmt: skip
def test_whatever_was_kept_a_living_opening_counts_as_told(kept: object) -> None:
    """Lists of texts are never what was kept, so the diary's word stands that the opening was known."""
    notices = Notices.from_json(kept, [A])
    assert tell(notices, began(A), living=(A,)) == []
    assert tell(notices, ended(A)) == ["a ended"]


steps = st.lists(
    st.tuples(st.sampled_from(["began", "ended", *RANKS]), st.sampled_from("ab"), st.booleans()), max_size=60
)


@given(steps)
def test_no_opening_is_ever_told_more_often_than_there_are_ranks(taken: list[tuple[str, str, bool]]) -> None:
    """Twice the same code is never told of one opening, and no beginning or end twice."""
    notices, living, told, at_s = Notices(), {}, [], NOON_S
    for what, of, is_wanted in taken:
        at_s += GAP_S
        one = opening(of)
        if what == "ended":
            living.pop(of, None)
        elif what == "began":
            living[of] = one
        change = {"began": began, "ended": ended}[what](one, at_s) if what in ("began", "ended") else None
        told += tell(
            notices,
            change or event(what, of, at_s),
            living=tuple(living.values()),
            at_s=at_s,
            wanted=is_wanted,
        )
    assert len(told) == len(set(told))


# --- what the operator asks for --------------------------------------------------------------------------


def test_mute_ends_by_itself_or_by_hand() -> None:
    attention = Attention()
    attention.mute(NOON_S, 10)
    assert [attention.is_muted(NOON_S + s) for s in (0, 599, 600)] == [True, True, False]
    attention.mute(NOON_S)
    assert attention.is_muted(NOON_S + 1e9)
    attention.unmute()
    assert not attention.is_muted(NOON_S)


def test_an_acknowledgement_lasts_until_the_state_changes_and_quiet_needs_none() -> None:
    attention = Attention()
    assert not attention.acknowledge(State.QUIET)
    assert not attention.is_acknowledged
    assert attention.acknowledge(State.OPEN)
    attention.state_changed()
    assert not attention.is_acknowledged


@given(st.sampled_from([None, 5, "ever"]), st.booleans())
def test_what_was_asked_for_outlives_a_restart(mute: object, is_acknowledged: bool) -> None:
    attention = Attention()
    if mute is not None:
        attention.mute(NOON_S, mute if isinstance(mute, int) else None)
    attention.is_acknowledged = is_acknowledged
    assert Attention.from_json(json.loads(json.dumps(attention.as_json()))) == attention


@given(st.one_of(st.none(), st.text(), st.dictionaries(st.text(), st.integers()), st.lists(st.integers())))
def test_a_damaged_note_asks_for_nothing(kept: object) -> None:
    assert Attention.from_json(kept) == Attention()
