"""The terminal shows the bulletin, and nothing that was received can act on it."""

from dataclasses import replace
from io import StringIO

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from panel_strategies import bulletins
from rich.console import Console

from sentinel.panel.samples import samples
from sentinel.panel.terminal import TerminalView, plain_line, render, rose
from sentinel.watch.bulletin import Bulletin, Heading, Mode, Part, State


def shown(bulletin: Bulletin, width: int = 120, notes: tuple[str, ...] = ()) -> str:
    console = Console(file=StringIO(), width=width, color_system=None)
    console.print(render(bulletin, notes, width))
    return console.file.getvalue()  # type: ignore[attr-defined, no-any-return]


class Screen(StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("name", samples())
@pytest.mark.parametrize("width", [60, 80, 120])
def test_every_sample_shows_state_reason_and_age(name: str, width: int) -> None:
    bulletin = samples()[name]
    text = shown(bulletin, width)
    assert bulletin.state.value.upper() in text
    assert bulletin.because.split()[0] in text and "last decode" in text and "as of" in text
    assert max(len(line) for line in text.splitlines()) <= width
    for heading in bulletin.headings:
        assert f"{round(heading.bearing_deg) % 360:03d}°" in text


def test_blind_has_no_rose_and_says_why() -> None:
    text = shown(samples()["blind-canary-silent"])
    assert "BLIND  Canary not heard" in text and "·" not in text and "█" not in text


def test_other_bands_stand_below_the_state_only_where_there_are_any() -> None:
    text = shown(samples()["other-bands"])
    assert "┃ 10m open   ━━ 4m quiet   ╳╳ 2m blind" in text
    alone = shown(replace(samples()["other-bands"], other_bands=()))
    assert "10m" not in alone and len(alone.splitlines()) == len(text.splitlines()) - 1


def test_a_failed_part_is_named_with_its_note() -> None:
    bulletin = replace(samples()["quiet"], parts=(Part("broker", False, "connection refused"),))
    assert "broker FAILED  (connection refused)" in shown(bulletin)


def test_stations_are_listed_newest_first_and_the_rest_counted() -> None:
    text = shown(samples()["open-four"])
    assert "W8QAB" in text and "and 6 more" in text


@pytest.mark.parametrize(
    ("bearing_deg", "row", "column"), [(0, 1, 10), (90, 5, 18), (180, 9, 10), (270, 5, 2)]
)
def test_the_rose_points_where_the_heading_is(bearing_deg: float, row: int, column: int) -> None:
    lines = rose([Heading(bearing_deg, 2.0, 1, 900, 900, Mode.F2)]).splitlines()
    assert lines[row][column] == "█"
    assert lines[0][10] == "N" and lines[5][20] == "E" and lines[10][10] == "S" and lines[5][0] == "W"
    assert rose([]).count("█") == 0


HOSTILE = [
    "\x1b[2J\x1b[H",
    "[bold red]x[/]",
    "\x9b2J",
    "a\u202eb",
    "\r\n\r\n",
    "[link=http://x]y[/link]",
    "\x07",
]
FORBIDDEN = set(map(chr, range(0x0A))) | set(map(chr, range(0x0B, 0x20))) | set(map(chr, range(0x7F, 0xA0)))
FORBIDDEN |= set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f")


@pytest.mark.parametrize("text", HOSTILE)
def test_received_text_cannot_steer_the_terminal(text: str) -> None:
    open_ = samples()["open"]
    hostile = replace(
        open_, because=text, band=text, station_locator=text, parts=(Part(text, False, text),),
        stations=(replace(open_.stations[0], call=text),),
    )  # fmt: skip
    for seen in (shown(hostile, notes=(text,)), plain_line(hostile)):
        assert not set(seen) & FORBIDDEN
    if text.startswith("["):
        assert text[:12] in shown(hostile), "markup is shown, not obeyed"


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(bulletins(), st.sampled_from([40, 80, 120]))
def test_any_bulletin_can_be_shown_at_any_width(bulletin: Bulletin, width: int) -> None:
    text = shown(bulletin, width)
    assert not set(text) & FORBIDDEN
    assert max(len(line) for line in text.splitlines()) <= width
    assert "\n" not in plain_line(bulletin)


def test_without_a_screen_only_news_is_printed_one_line_each() -> None:
    stream = StringIO()
    view = TerminalView(stream)
    quiet, open_ = samples()["quiet"], samples()["open"]
    view.update(quiet)
    view.update(replace(quiet, at_s=quiet.at_s + 60))
    view.update(open_)
    view.say("one\x1b[2Jnote")
    view.close()
    lines = stream.getvalue().splitlines()
    assert lines == [plain_line(quiet), plain_line(open_), "one?[2Jnote"]


def test_on_a_screen_the_panel_is_live_and_left_standing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    stream = Screen()
    view = TerminalView(stream)
    view.update(samples()["quiet"])
    view.say("a note")
    view.update(samples()["open"])
    view.close()
    text = stream.getvalue()
    assert "OPEN" in text and "a note" in text
    assert text.rstrip().endswith("\x1b[?25h"), "the cursor is given back"
    view.close()


def test_a_dumb_terminal_gets_plain_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    stream = Screen()
    view = TerminalView(stream)
    view.update(samples()["quiet"])
    view.close()
    assert stream.getvalue() == plain_line(samples()["quiet"]) + "\n"


def test_every_state_has_its_own_shape() -> None:
    firsts = {state: shown(one).splitlines()[2] for state, one in by_state().items()}
    shapes = {text.split(state.value.upper())[0] for state, text in firsts.items()}
    assert len(shapes) == len(State)


def by_state() -> dict[State, Bulletin]:
    return {one.state: one for one in samples().values()}
