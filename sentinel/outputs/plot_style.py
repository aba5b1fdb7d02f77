"""How the diary's plots look, and how they leave: black and white, the same file for the same data.

matplotlib (extra ``plots``) is loaded when the first figure is made.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sentinel.errors import ConfigError, RunError
from sentinel.outputs.diary_rows import OpeningRow
from sentinel.outputs.diary_tables import MONTHS
from sentinel.watch.bulletin import Mode

Figure = Any  # matplotlib's own types, which change from version to version
Axes = Any

SUFFIXES = (".svg", ".png")
DOTS_PER_INCH = 160
STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "hatch.linewidth": 0.7,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "svg.hashsalt": "sentinel",  # else every file differs
    "svg.fonttype": "path",
    "text.parse_math": False,  # a dollar is a dollar
}
# fill and hatch of each mode, told apart on any printer
FILLS: Mapping[Mode, tuple[str, str]] = {
    Mode.SPORADIC_E: ("black", ""),
    Mode.MULTI_HOP_SPORADIC_E: ("0.6", ""),
    Mode.F2: ("white", "/////"),
    Mode.TRANSEQUATORIAL: ("white", "....."),
    Mode.AURORA: ("white", "xxxxx"),
    Mode.METEOR_SCATTER: ("white", "-----"),
    Mode.TROPO: ("white", "|||||"),
    Mode.UNKNOWN: ("white", ""),
}
NAMES: Mapping[Mode, str] = {
    Mode.SPORADIC_E: "sporadic E",
    Mode.MULTI_HOP_SPORADIC_E: "sporadic E, several hops",
    Mode.F2: "F2",
    Mode.TRANSEQUATORIAL: "transequatorial",
    Mode.AURORA: "aurora",
    Mode.METEOR_SCATTER: "meteor scatter",
    Mode.TROPO: "tropo",
    Mode.UNKNOWN: "mode unknown",
}


def save(figure: Figure, path: Path) -> None:
    """Write SVG or PNG, by the name. Raises ConfigError for another ending, RunError where it cannot be."""
    check_name(path)
    is_svg = path.suffix.lower() == ".svg"
    try:
        with _style():
            figure.savefig(path, dpi=DOTS_PER_INCH, metadata={"Date": None} if is_svg else None)
    except OSError as error:
        raise RunError(f"{path}: cannot be written ({error.strerror})") from None


def check_name(path: Path) -> None:
    """Raises ConfigError unless the name ends in a picture's ending."""
    if path.suffix.lower() not in SUFFIXES:
        raise ConfigError(f"{path}: a plot ends in .svg or .png; name it so")


def figure_of(title: str, size_in: tuple[float, float], projection: str | None = None) -> tuple[Figure, Axes]:
    """An empty figure and its axes. Raises RunError where matplotlib is not installed."""
    with _style():
        figure = _empty(title, size_in)
        return figure, figure.add_subplot(projection=projection)


def figure_with_key(title: str, size_in: tuple[float, float]) -> tuple[Figure, Axes, Axes]:
    """The same with a row below for the key."""
    with _style():
        figure = _empty(title, size_in)
        axes, key = figure.subplots(2, height_ratios=(12, 1))
        return figure, axes, key


def _style() -> Any:
    try:
        import matplotlib
    except ImportError:
        raise RunError("plots need matplotlib: pip install 'vhf-sentinel[plots]'") from None
    return matplotlib.rc_context(STYLE)


def _empty(title: str, size_in: tuple[float, float]) -> Figure:
    from matplotlib import figure as figures

    figure: Figure = figures.Figure(figsize=size_in, layout="constrained")
    figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold")
    return figure


def by_mode(rows: Sequence[OpeningRow]) -> dict[Mode, list[OpeningRow]]:
    """The openings by mode, in the order of ``FILLS``."""
    found = {mode: [row for row in rows if row.opening.mode is mode] for mode in FILLS}
    return {mode: of_mode for mode, of_mode in found.items() if of_mode}


def bars(
    axes: Axes,
    at: Sequence[float],
    heights: Sequence[float],
    below: Sequence[float],
    mode: Mode,
    count: int,
    width: float,
) -> None:
    """One mode's bars on top of those ``below``; ``count`` openings in all."""
    fill, hatch = FILLS[mode]
    label = f"{NAMES[mode]} ({count:,})"
    edge = {"edgecolor": "black", "linewidth": 0.8}
    axes.bar(at, heights, width=width, bottom=below, color=fill, hatch=hatch, label=label, **edge)


def whole_numbers(axes: Axes, most: int) -> None:
    """At most five grid lines, at whole numbers of openings."""
    step = next(s for s in round_steps() if s * 5 >= most)
    axes.set_yticks(range(0, max(most, 1) + step, step))
    axes.set_ylim(0, max(most, 1) * 1.05)


def round_steps() -> Iterator[int]:
    """1, 2, 5, 10, 20, 50 and so on."""
    return (base * 10**power for power in range(9) for base in (1, 2, 5))


def legend(axes: Axes, **where: Any) -> None:
    """Which fill is which mode, if there are any."""
    if axes.get_legend_handles_labels()[0]:
        axes.legend(frameon=False, fontsize=8, handlelength=2.4, handleheight=1.4, **where)


def day_words(at_s: float) -> str:
    """A day for a title: ``14 Jun 2026``, without the machine's locale."""
    moment = datetime.fromtimestamp(at_s, UTC)
    return f"{moment.day} {MONTHS[moment.month - 1]} {moment.year}"
