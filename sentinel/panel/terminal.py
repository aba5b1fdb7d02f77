"""The bulletin in a terminal: a live panel where there is a screen, else one line for each change.

``render`` is pure. Every text passes ``words.clean`` and becomes a rich ``Text``, never markup, so nothing
that was received can colour, move or erase anything. rich is imported only when something is shown.
"""

import sys
from collections import deque
from collections.abc import Iterator, Sequence
from math import atan2, cos, degrees, hypot, radians, sin
from threading import Lock
from typing import TYPE_CHECKING, TextIO

from sentinel.panel import words
from sentinel.panel.refresh import Change, change_between
from sentinel.panel.rose import half_width_deg
from sentinel.watch.bulletin import Bulletin, Heading, State, Station

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.text import Text

# a semaphore's arm, and a colour that only repeats what arm and word say
SHAPES = {State.QUIET: "━━", State.STIRRING: " ╱", State.OPEN: " ┃", State.BLIND: "╳╳"}
COLOURS = {State.QUIET: "white", State.STIRRING: "yellow", State.OPEN: "bold green", State.BLIND: "bold red"}
HEALTH = {True: ("ok", "green"), False: ("FAILED", "bold red"), None: ("--", "dim")}

MOST_STATIONS = 8
NOTES_KEPT = 5
ROSE_RADIUS = 4  # rows; columns count double, as a character is about twice as high as wide
WIDE_FOR_ROSE, WIDE_FOR_STATIONS = 80, 120  # columns of the terminal


def render(bulletin: Bulletin, notes: Sequence[str] = (), width: int = 100) -> "RenderableType":
    """The panel as a rich renderable for a terminal of a width in columns."""
    from rich.console import Group
    from rich.panel import Panel
    from rich.table import Table
    from rich.text import Text

    columns = Table.grid(padding=(0, 3))
    cells = [_facts(bulletin)]
    if width >= WIDE_FOR_ROSE and bulletin.state is not State.BLIND:
        cells.append(Text(rose(bulletin.headings), no_wrap=True))
    if width >= WIDE_FOR_STATIONS and bulletin.stations:
        cells.append(_stations(bulletin))
    columns.add_row(*cells)
    said = [Text(words.clean(note), style="dim", overflow="ellipsis", no_wrap=True) for note in notes]
    body = Group(_banner(bulletin), Text(), columns, Text(), _health(bulletin), *said)
    title = f"{words.clean(bulletin.band)}  {words.clean(bulletin.station_locator or '')}".strip()
    style = COLOURS[bulletin.state]
    return Panel(body, title=Text(title), title_align="left", border_style=style, padding=(1, 2))


def plain_line(bulletin: Bulletin) -> str:
    """The bulletin in one line, for a log or a pipe."""
    when = f"{words.date_words(bulletin.at_s)} {words.time_words(bulletin.at_s)} UTC"
    what = bulletin.state.value.upper()
    if bulletin.state is State.BLIND:
        what += f" ({words.blind_words(bulletin)})"
    where = "; ".join(_heading_words(heading) for heading in bulletin.headings)
    return "  ".join(part for part in (when, what, where, words.clean(bulletin.because)) if part)


def rose(headings: Sequence[Heading], radius: int = ROSE_RADIUS) -> str:
    """A compass of characters, north up: dots for the ring, a sector of blocks for each heading."""
    reach = radius + 1
    grid = dict.fromkeys(_sectors(headings, radius), "█")
    for bearing_deg in range(0, 360, 15):
        grid.setdefault(_cell(radius, bearing_deg), "·")
    for letter, bearing_deg in (("N", 0), ("E", 90), ("S", 180), ("W", 270)):
        grid[_cell(reach, bearing_deg)] = letter
    grid[0, 0] = "+"
    columns = range(-2 * reach, 2 * reach + 1)
    return "\n".join(
        "".join(grid.get((row, column), " ") for column in columns) for row in range(-reach, reach + 1)
    )


def _cell(radius: float, bearing_deg: float) -> tuple[int, int]:
    angle = radians(bearing_deg)
    return round(-radius * cos(angle)), round(2 * radius * sin(angle))


def _sectors(headings: Sequence[Heading], radius: int) -> Iterator[tuple[int, int]]:
    """The cells inside the ring that lie on a live heading, and its middle line even where it is thin."""
    for heading in headings:
        yield from (_cell(step, heading.bearing_deg) for step in range(1, radius + 1))
        half = half_width_deg(heading.spread_deg)
        for row in range(-radius, radius + 1):
            for column in range(-2 * radius, 2 * radius + 1):
                off = (degrees(atan2(column / 2, -row)) - heading.bearing_deg + 180) % 360 - 180
                if abs(off) <= half and 1 <= hypot(row, column / 2) <= radius:
                    yield row, column


def _heading_words(heading: Heading) -> str:
    bearing = f"{words.bearing_words(heading.bearing_deg)} {words.point_words(heading.bearing_deg)}"
    reach = words.km_words(heading.nearest_km, heading.farthest_km)
    return f"{bearing}, {words.stations_words(heading.stations)}, {reach}, {words.MODE_WORDS[heading.mode]}"


def _banner(bulletin: Bulletin) -> "Text":
    from rich.text import Text

    style = COLOURS[bulletin.state]
    banner = Text.assemble((SHAPES[bulletin.state], style), "  ", (bulletin.state.value.upper(), style))
    if bulletin.state is State.BLIND:
        banner.append(f"  {words.blind_words(bulletin)}", style)
    banner.append("   " + " ".join(words.since_words(bulletin)))
    if bulletin.is_acknowledged:
        banner.append("   acknowledged", "dim")
    for number, other in enumerate(bulletin.other_bands):
        banner.append("\n" if number == 0 else "   ")
        sign = f"{SHAPES[other.state]} {words.clean(other.band)} {other.state.value}"
        banner.append(sign, COLOURS[other.state])
    return banner


def _facts(bulletin: Bulletin) -> "Text":
    from rich.text import Text

    lines = [words.clean(bulletin.because)]
    lines += [_heading_words(heading) for heading in bulletin.headings]
    outlook = words.outlook_words(bulletin)
    return Text("\n".join([*lines, *([outlook] if outlook else [])]))


def _stations(bulletin: Bulletin) -> "Text":
    from rich.text import Text

    newest = sorted(bulletin.stations, key=lambda station: -station.last_at_s)
    lines = [_station_words(station, bulletin.at_s) for station in newest[:MOST_STATIONS]]
    if len(newest) > MOST_STATIONS:
        lines.append(f"and {len(newest) - MOST_STATIONS} more")
    return Text("\n".join(lines), no_wrap=True)


def _station_words(station: Station, at_s: float) -> str:
    snr = "    " if station.last_snr_db is None else f"{station.last_snr_db:+4.0f}"
    age = words.age_words(at_s - station.last_at_s)
    call = words.clean(station.call)[:12]
    return (
        f"{call:<10} {words.bearing_words(station.bearing_deg)} {station.distance_km:6.0f} km {snr} dB  {age}"
    )


def _health(bulletin: Bulletin) -> "Text":
    from rich.text import Text

    last_at_s = bulletin.receiver.last_decode_at_s
    heard = "never" if last_at_s is None else f"{words.age_words(bulletin.at_s - last_at_s)} ago"
    health = Text.assemble(f"last decode {heard}", ("   parts: ", "dim") if bulletin.parts else "")
    for part in bulletin.parts:
        verdict, style = HEALTH[part.is_well]
        health.append(f"{words.clean(part.name)} ").append(verdict, style).append("  ")
        if part.note and not part.is_well:
            health.append(f"({words.clean(part.note)})  ", "dim")
    health.append(f"  as of {words.date_words(bulletin.at_s)} {words.time_words(bulletin.at_s)} UTC", "dim")
    return health


class TerminalView:
    """Shows bulletins and notes as they come, from any thread. Close it to give the terminal back."""

    def __init__(self, stream: TextIO | None = None) -> None:
        from rich.console import Console
        from rich.live import Live

        self._lock = Lock()
        self._console = Console(file=stream or sys.stdout)
        self._shown: Bulletin | None = None
        self._notes: deque[str] = deque(maxlen=NOTES_KEPT)
        self._live: Live | None = None
        if self._console.is_terminal and not self._console.is_dumb_terminal:
            self._live = Live(console=self._console, refresh_per_second=4)
            self._live.start()

    def update(self, bulletin: Bulletin) -> None:
        """Show this bulletin; without a screen, only where it brings news."""
        with self._lock:
            is_news = change_between(self._shown, bulletin) >= Change.NEWS
            self._shown = bulletin
            if self._live is None and is_news:
                self._print(plain_line(bulletin))
            self._redraw()

    def say(self, note: str) -> None:
        """A line of text beside the bulletins; the last few stay in view."""
        with self._lock:
            self._notes.append(note)
            if self._live is None:
                self._print(words.clean(note))
            self._redraw()

    def close(self) -> None:
        """Leave the last picture standing."""
        with self._lock:
            live, self._live = self._live, None
            if live is not None:
                live.stop()

    def _redraw(self) -> None:
        if self._live is not None and self._shown is not None:
            self._live.update(render(self._shown, tuple(self._notes), self._console.width))

    def _print(self, line: str) -> None:
        self._console.print(line, markup=False, highlight=False, soft_wrap=True)
        self._console.file.flush()
