"""The plots of ``sentinel diary``: which data and which title go into which figure."""

import argparse
import math
from typing import Any

from sentinel.commands.diary_request import Request
from sentinel.errors import RunError
from sentinel.outputs import plots
from sentinel.outputs.diary_muf import muf_points
from sentinel.outputs.diary_queries import sightings
from sentinel.outputs.plot_style import day_words, save
from sentinel.trade.bandplan import BANDS, limits_of

KINDS = ("hours", "rose", "lengths", "muf")
EVENING_S = 43_200.0
"""The MUF of an evening is that of the twelve hours up to the last opening that tells of it."""


def plot(request: Request, options: argparse.Namespace) -> None:
    """Draw what the options name into their file, and say where it is."""
    kind = options.kind or (options.plot.stem if options.plot.stem in KINDS else "hours")
    title = _title(request, options)
    if kind == "hours":
        figure = plots.hours_figure(request.hours(), f"When {title} was open")
    elif kind == "rose":
        figure = plots.rose_figure(request.openings(), f"Openings by bearing, {title}")
    elif kind == "lengths":
        figure = plots.lengths_figure(request.openings(), f"How long openings last, {title}")
    else:
        figure = _muf_figure(request, title)
    save(figure, options.plot)
    print(options.plot)


def _muf_figure(request: Request, title: str) -> Any:
    """The span asked for; without one the twelve hours up to the last opening that tells a MUF."""
    rows = [row for row in request.openings() if row.opening.muf_mhz is not None]
    if not rows:
        raise RunError(
            "no opening of the time asked for tells a MUF: that takes strong stations by sporadic E"
        )
    until_s = max(row.opening.last_at_s for row in rows)
    since_s = until_s - EVENING_S if request.wanted.since_s is None else request.wanted.since_s
    told = sightings(request.connection, since_s, math.nextafter(until_s, math.inf), request.band)
    points = muf_points(rows, told, _lowest_mhz(request.band))
    evening = day_words(points[0].at_s if points else since_s)
    return plots.muf_figure(points, f"The MUF of {evening}, {title}")


def _lowest_mhz(band: str) -> float:
    limits = limits_of(band) if band in BANDS else None
    return 50.0 if limits is None else limits.low_mhz


def _title(request: Request, options: argparse.Namespace) -> str:
    """Band and place, and what the openings were chosen by."""
    parts = [request.band + (f" from {request.place}" if request.place else "")]
    parts += [f"towards {options.direction}"] if options.direction else []
    parts += [options.mode] if options.mode else []
    parts += [f"since {day_words(options.since)}"] if options.since is not None else []
    parts += [f"until {day_words(options.until)}"] if options.until is not None else []
    return ", ".join(parts)
