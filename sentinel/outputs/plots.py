"""The diary as pictures, for a printer in black and white: shape, size and hatching say it, never colour.

======================  =============================================================================
``hours_figure``        when: hour by month, the area of a square is the share of the time that was open
``rose_figure``         from where: openings by bearing, by mode
``lengths_figure``      for how long: openings by length, by mode
``muf_figure``          how high: the MUF of an evening, against the bands above
======================  =============================================================================

Each takes what the diary's queries return and gives a figure for ``plot_style.save``. matplotlib (extra
``plots``) is loaded by the first; the daemon never makes one.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from sentinel.outputs.diary_muf import STEP_S, MufPoint, highest_by_step
from sentinel.outputs.diary_rows import OpeningRow
from sentinel.outputs.diary_statistics import HourOfMonth
from sentinel.outputs.diary_tables import MONTHS
from sentinel.outputs.plot_style import (
    Axes,
    Figure,
    bars,
    by_mode,
    figure_of,
    figure_with_key,
    legend,
    round_steps,
    whole_numbers,
)

FULL_SHARE = 0.5
"""The share of the time that fills a cell: more than half of an hour of a month is open nowhere for long."""
KEY_SHARES = (0.02, 0.1, 0.25, 0.5)
NEVER: Mapping[str, Any] = {"marker": ".", "color": "0.45", "markersize": 2.0, "linestyle": ""}
SECTOR_DEG = 15
SECTORS = 360 // SECTOR_DEG
LENGTHS_MIN = (5, 10, 20, 40, 80, 160, 320, 640)
SUBTITLE: Mapping[str, Any] = {"fontsize": 9, "loc": "left", "color": "0.3"}
LEAST_MHZ = 45.0
BANDS_MHZ = ((50.0, "6 m"), (70.0, "4 m"), (144.0, "2 m"))


# --- when -----------------------------------------------------------------------------------------


def hours_figure(cells: Sequence[HourOfMonth], title: str) -> Figure:
    """Months down, hours across; a dot is watched and never open, hatching not watched."""
    figure, axes, key = figure_with_key(title, (8.6, 5.2))
    for cell in cells:
        x, y, share = cell.hour + 0.5, cell.month - 0.5, cell.open_share
        if share is None:
            _not_watched(axes, x, y)
        elif share == 0.0:
            axes.plot(x, y, **NEVER)
        else:
            _square(axes, x, y, share)
    axes.set(xlim=(0, 24), ylim=(12, 0), aspect="equal", xlabel="hour, UTC")
    axes.set_xticks(range(0, 25, 3), [f"{hour:02}" for hour in range(0, 25, 3)])
    axes.set_yticks([m + 0.5 for m in range(12)], MONTHS)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color="0.9", lw=0.6)
    axes.set_axisbelow(True)
    axes.text(25.6, -0.1, "openings", ha="right", va="bottom", fontsize=8, color="0.3")
    for month in range(1, 13):
        openings = sum(cell.openings for cell in cells if cell.month == month)
        axes.text(25.6, month - 0.5, f"{openings:,}", ha="right", va="center", fontsize=8)
    _hours_key(key)
    return figure


def _hours_key(key: Axes) -> None:
    """What the squares, the dot and the hatching mean."""
    key.set(xlim=(0, 24), ylim=(0, 1), aspect="equal")
    key.axis("off")
    x = 0.5
    for share in KEY_SHARES:
        _square(key, x, 0.5, share)
        more = " of the time and more" if share == FULL_SHARE else ""
        key.text(x + 0.7, 0.5, f"{100 * share:.0f} %{more}", va="center", fontsize=8)
        x += 2.7
    key.plot(x + 3.8, 0.5, **NEVER)
    key.text(x + 4.2, 0.5, "never open", va="center", fontsize=8)
    _not_watched(key, x + 8.2, 0.5)
    key.text(x + 9.0, 0.5, "not watched", va="center", fontsize=8)


def _square(axes: Axes, x: float, y: float, share: float) -> None:
    from matplotlib.patches import Rectangle

    side = 0.96 * math.sqrt(min(1.0, share / FULL_SHARE))
    axes.add_patch(Rectangle((x - side / 2, y - side / 2), side, side, fc="black", lw=0))


def _not_watched(axes: Axes, x: float, y: float) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(Rectangle((x - 0.5, y - 0.5), 1, 1, fill=False, hatch="////", lw=0, ec="0.75"))


# --- from where -----------------------------------------------------------------------------------


def rose_figure(rows: Sequence[OpeningRow], title: str) -> Figure:
    """North up, clockwise; the area of a sector is the number of openings, so twice as long is four times."""
    figure, axes = figure_of(title, (6.4, 6.6), projection="polar")
    axes.set_theta_zero_location("N")
    axes.set_theta_direction(-1)
    centres = [math.radians(SECTOR_DEG * k) for k in range(SECTORS)]
    below = [0] * SECTORS
    for mode, of_mode in by_mode(rows).items():
        counts = [0] * SECTORS
        for row in of_mode:
            counts[round(row.opening.bearing_deg / SECTOR_DEG) % SECTORS] += 1
        above = [low + count for low, count in zip(below, counts, strict=True)]
        inner, outer = [math.sqrt(n) for n in below], [math.sqrt(n) for n in above]
        heights = [high - low for low, high in zip(inner, outer, strict=True)]
        bars(axes, centres, heights, inner, mode, len(of_mode), math.radians(0.9 * SECTOR_DEG))
        below = above
    axes.set_thetagrids(range(0, 360, 45), ("N", "NE", "E", "SE", "S", "SW", "W", "NW"))
    rings = _rings(max(below))
    axes.set_rgrids(
        [math.sqrt(n) for n in rings], [str(n) for n in rings], angle=_emptiest_deg(below), fontsize=8
    )
    axes.set_ylim(0, 1.01 * math.sqrt(max(rings)))
    axes.grid(color="0.8", lw=0.5)
    axes.set_axisbelow(True)
    axes.spines["polar"].set_visible(False)
    where = {"loc": "upper center", "bbox_to_anchor": (0.5, -0.06), "ncol": 3}
    legend(axes, title="the area of a sector is its number of openings", title_fontsize=8, **where)
    return figure


def _rings(most: int) -> list[int]:
    """At most five rings at round numbers of openings, the outermost around the most."""
    step = next(step for step in round_steps() if 5 * step >= most)
    return [step * k for k in range(1, 6) if step * (k - 1) < max(most, 1)]


def _emptiest_deg(counts: Sequence[int]) -> float:
    """The middle between two neighbouring sectors with the fewest openings: room for the rings' numbers."""
    k = min(range(SECTORS), key=lambda k: counts[k] + counts[(k + 1) % SECTORS])
    return SECTOR_DEG * (k + 0.5)


# --- for how long ---------------------------------------------------------------------------------


def lengths_figure(rows: Sequence[OpeningRow], title: str) -> Figure:
    """How many openings lasted how long, from the first station to the last."""
    figure, axes = figure_of(title, (8.4, 4.4))
    below = [0] * (len(LENGTHS_MIN) + 1)
    for mode, of_mode in by_mode(rows).items():
        counts = [0] * len(below)
        for row in of_mode:
            counts[sum(_minutes(row) >= limit for limit in LENGTHS_MIN)] += 1
        bars(axes, range(len(below)), counts, below, mode, len(of_mode), 0.92)
        below = [low + count for low, count in zip(below, counts, strict=True)]
    names = ["0", *(_length_name(minutes) for minutes in LENGTHS_MIN)]
    axes.set_xticks([k - 0.5 for k in range(len(below))], names)
    axes.set(xlabel="lasted at least", ylabel="openings", xlim=(-0.6, len(below) - 0.4))
    whole_numbers(axes, max(below, default=0))
    if rows:
        lengths = sorted(_minutes(row) for row in rows)
        middle = lengths[len(lengths) // 2]
        axes.set_title(f"half of them {_length_words(middle)} or longer", **SUBTITLE)
        legend(axes, loc="upper left", bbox_to_anchor=(1.0, 1.0))
    return figure


def _minutes(row: OpeningRow) -> float:
    return (row.opening.last_at_s - row.opening.began_at_s) / 60.0


def _length_name(minutes: int) -> str:
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02}"


def _length_words(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.1f} h"


# --- how high -------------------------------------------------------------------------------------


def muf_figure(points: Sequence[MufPoint], title: str) -> Figure:
    """A ring for each strong station, and the highest of each ten minutes as the edge of what is open."""
    figure, axes = figure_of(title, (7.8, 4.6))
    for mhz, name in BANDS_MHZ:
        axes.axhline(mhz, color="black", lw=0.8, dashes=(6, 3))
        axes.text(
            1.01, mhz, f"{name}, {mhz:.0f} MHz", transform=axes.get_yaxis_transform(), va="center", fontsize=8
        )
    for start_s, mhz in highest_by_step(points):
        hours = _hour(start_s, points), _hour(start_s + STEP_S, points)
        axes.fill_between(hours, LEAST_MHZ, mhz, fc="0.87", lw=0, zorder=0)
        axes.plot(hours, (mhz, mhz), color="black", lw=2.4, solid_capstyle="butt")
    at, mufs = [_hour(p.at_s, points) for p in points], [p.muf_mhz for p in points]
    axes.plot(at, mufs, "o", mfc="white", mec="black", ms=3.4, mew=0.7, zorder=3)
    axes.set_yscale("log")
    axes.set(ylim=(LEAST_MHZ, 1.05 * max([160.0, *mufs])), ylabel="MUF up to about, MHz", xlabel="UTC")
    axes.set_yticks([50, 60, 70, 80, 100, 120, 144], ["50", "60", "70", "80", "100", "120", "144"])
    axes.minorticks_off()
    axes.set_title("by the skip of strong stations; bars: the highest of ten minutes", **SUBTITLE)
    _hours_axis(axes, at)
    return figure


def _hour(at_s: float, points: Sequence[MufPoint]) -> float:
    """Hours since the midnight before the first point."""
    midnight_s = points[0].at_s // 86_400 * 86_400
    return (at_s - midnight_s) / 3600.0


def _hours_axis(axes: Axes, at: Sequence[float]) -> None:
    if not at:
        axes.set_xticks([])
        axes.text(0.5, 0.5, "no strong station by sporadic E", transform=axes.transAxes, ha="center")
        return
    first, last = math.floor(at[0] * 2) / 2, math.ceil(at[-1] * 2 + 0.4) / 2
    step = next((s for s in (0.5, 1.0, 2.0, 3.0) if (last - first) / s <= 12), 6.0)
    ticks = [first + step * k for k in range(int((last - first) / step) + 1)]
    axes.set_xlim(first, last)
    axes.set_xticks(ticks, [f"{int(h) % 24:02}:{round(h % 1 * 60):02}" for h in ticks])
