"""Before the first line nothing shows that the receiver works: quiet has to be earned where it can be."""

from pathlib import Path

import pytest
from nights import LOCAL, calling
from running import daemon, decoder

from sentinel.restart import begin_again
from sentinel.watch.bulletin import BlindReason, State
from sentinel.watch.decode import Decode
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.receiver import FactKind, ReceiverFact
from sentinel.watch.settings import ReceiverSettings, WatchSettings
from sentinel.watch.watch import Watch

START_S = 20_618 * 86_400.0
WITH_CANARY = ReceiverSettings(frozenset({"VE1QBC"}), canary_silence_s=1200.0)
WITH_LIMIT = ReceiverSettings(line_silence_s=1800.0)
WITH_NEITHER = ReceiverSettings()


def started(receiver: ReceiverSettings) -> Watch:
    """A watch that was let run for a minute without a line."""
    watch = Watch(WatchSettings("FN84ab", receiver=receiver))
    watch.tick(START_S)
    watch.tick(START_S + 60.0)
    return watch


def stands(watch: Watch) -> tuple[State, BlindReason | None]:
    bulletin = watch.bulletin()
    return bulletin.state, bulletin.blind_reason


@pytest.mark.parametrize("receiver", [WITH_CANARY, WITH_LIMIT], ids=["canary", "limit"])
def test_without_a_line_since_the_start_the_watch_is_blind_and_says_why(receiver: ReceiverSettings) -> None:
    watch = started(receiver)
    assert stands(watch) == (State.BLIND, BlindReason.STARTING)
    assert watch.bulletin().because == "The decoder has printed nothing yet, so nothing shows that it hears."
    assert watch.bulletin().far_stations is None


@pytest.mark.parametrize("receiver", [WITH_CANARY, WITH_LIMIT], ids=["canary", "limit"])
@pytest.mark.parametrize(
    "line",
    [Decode(START_S + 75.0, "CQ VE1QAA FN84", -3.0), ReceiverFact(START_S + 75.0, FactKind.LINE)],
    ids=["a neighbour", "a line that holds nobody"],
)
def test_the_first_line_makes_it_quiet(receiver: ReceiverSettings, line: Decode | ReceiverFact) -> None:
    watch = started(receiver)
    watch.feed(line)
    watch.tick(START_S + 76.0)
    assert stands(watch) == (State.QUIET, None)


def test_where_no_means_is_given_a_dead_band_is_quiet_and_the_notes_say_what_that_is_worth() -> None:
    watch = started(WITH_NEITHER)
    assert stands(watch) == (State.QUIET, None)
    assert any("Silence can't be told from deafness" in note for note in watch.bulletin().receiver.notes)


@pytest.mark.parametrize(
    ("receiver", "reason"),
    [(WITH_CANARY, BlindReason.CANARY_SILENT), (WITH_LIMIT, BlindReason.NO_LINES)],
    ids=["canary", "limit"],
)
def test_once_the_limit_has_passed_that_is_the_reason(
    receiver: ReceiverSettings, reason: BlindReason
) -> None:
    watch = started(receiver)
    watch.tick(START_S + 1801.0)
    assert stands(watch) == (State.BLIND, reason)


def test_a_log_that_begins_with_a_line_is_never_told_to_be_starting() -> None:
    watch = Watch(WatchSettings("FN84ab", receiver=WITH_CANARY))
    watch.feed(Decode(START_S, "CQ VE1QAA FN84", -3.0))
    watch.tick(START_S + 1.0)
    assert stands(watch) == (State.QUIET, None)


def test_a_restart_before_the_first_line_has_heard_no_more_than_the_watch_before() -> None:
    again = begin_again(WatchSettings("FN84ab", receiver=WITH_CANARY), Knowledge(), (), START_S)
    again.tick(START_S + 60.0)
    assert stands(again) == (State.BLIND, BlindReason.STARTING)


def test_a_restart_after_hours_of_silence_does_not_forget_that_lines_came() -> None:
    settings = WatchSettings("FN84ab", receiver=ReceiverSettings(line_silence_s=4 * 3600.0))
    watch = Watch(settings)
    watch.feed(Decode(START_S, "CQ VE1QAA FN84", -3.0))
    watch.tick(START_S + 3 * 3600.0)
    again = begin_again(settings, Knowledge(learned=watch.learned()), (), START_S)
    again.tick(START_S + 3 * 3600.0)
    assert stands(again) == stands(watch) == (State.QUIET, None)
    again.tick(START_S + 4 * 3600.0 + 1.0)
    assert stands(again) == (State.BLIND, BlindReason.NO_LINES)


def test_the_daemon_tells_it_until_the_decoder_prints(tmp_path: Path) -> None:
    log = tmp_path / "decodes.log"
    log.touch()
    with decoder(log) as band, daemon(tmp_path, None, '[receiver]\ncanaries = ["VE1QBD"]\n') as running:
        running.says("blind: The decoder has printed nothing yet, so nothing shows that it hears.")
        band.hears(calling(LOCAL, START_S, START_S + 60.0))
        running.says("quiet: ")
