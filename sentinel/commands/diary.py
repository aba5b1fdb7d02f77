"""``sentinel diary``: what happened, how often it happens, as a list, a file or a plot."""

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from sentinel.commands.options import Subcommands, add_command, utc_time
from sentinel.errors import ConfigError, RunError
from sentinel.watch.bulletin import Mode

if TYPE_CHECKING:
    from sentinel.commands.diary_request import Request
    from sentinel.outputs.diary_queries import OpeningFilter

WHAT = ("openings", "hours", "days", "sightings", "notables")
KINDS = ("hours", "rose", "lengths", "muf")
CHOOSING = ("openings", "hours")
"""What direction, mode and number of stations apply to."""


def register(subcommands: Subcommands) -> None:
    command = add_command(
        subcommands,
        "diary",
        "list, count, export and plot what the diary holds",
        "sentinel diary --direction SE --since 2026-06-01 --plot hours.svg",
    )
    command.add_argument(
        "what", nargs="?", choices=WHAT, default="openings", help="what to tell (default: %(default)s)"
    )
    where = command.add_mutually_exclusive_group()
    where.add_argument("--config", type=Path, metavar="FILE", help="configuration (TOML), for diary and band")
    where.add_argument(
        "--diary", type=Path, metavar="FILE", help="the diary (default: the state directory's)"
    )
    command.add_argument("--band", metavar="NAME", help="the band (default: the configuration's, else 6m)")
    command.add_argument("--since", type=utc_time, metavar="ISO", help="only what came after (UTC)")
    command.add_argument("--until", type=utc_time, metavar="ISO", help="only what came until then (UTC)")
    command.add_argument("--direction", metavar="DIR", help="only openings from there: SE, 135 or 80-120")
    modes = [mode.value for mode in Mode]
    command.add_argument("--mode", choices=modes, metavar="MODE", help="only by it: " + ", ".join(modes))
    command.add_argument("--min-stations", type=int, default=0, metavar="N", help="only with so many at once")
    form = command.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="print CSV")
    form.add_argument("--json", action="store_true", help="print JSON")
    form.add_argument("--plot", type=Path, metavar="FILE", help="draw into a .svg or .png file")
    command.add_argument("--kind", choices=KINDS, help="which plot (default: as FILE is named, else hours)")
    command.add_argument("--out", type=Path, metavar="FILE", help="write there instead of printing")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Tell what was asked for. A diary that is not there, or cannot be read, is one sentence."""
    from sentinel.commands.diary_request import Request
    from sentinel.outputs.diary_queries import reading

    _check(options)
    wanted = _filter(options)
    path, band, place = _where(options)
    with reading(path) as connection:
        request = Request(connection, band, replace(wanted, band=band), place)
        if options.plot is not None:
            from sentinel.commands.diary_plots import plot

            plot(request, options)
        elif options.csv or options.json:
            _export(request, options)
        else:
            with _output(options.out) as out:
                out.write(_text(request, options.what))
    return 0


# --- what was asked -------------------------------------------------------------------------------


def _check(options: argparse.Namespace) -> None:
    """Refuse what cannot be meant, before anything is opened."""
    from sentinel.outputs.plot_style import check_name

    if options.plot is not None:
        check_name(options.plot)
        if options.out is not None:
            raise ConfigError("--plot names the file already; leave out --out")
    elif options.kind is not None:
        raise ConfigError("--kind chooses a plot; name its file with --plot hours.svg")
    if options.what not in CHOOSING and (options.direction or options.mode or options.min_stations):
        raise ConfigError(f"--direction, --mode and --min-stations choose openings, not {options.what}")
    if options.since is not None and options.until is not None and options.since >= options.until:
        raise ConfigError("--since is not before --until; swap them")


def _where(options: argparse.Namespace) -> tuple[Path, str, str]:
    """The diary's path, the band, and the station's locator where the configuration tells it."""
    from sentinel.forecast import diary_path
    from sentinel.identity import state_directory

    if options.config is not None:
        from sentinel.config import load

        config = load(options.config)
        path = diary_path(config, state_directory())
        return path, options.band or config.band.name, config.station.locator
    path = options.diary if options.diary is not None else state_directory() / "diary.sqlite"
    if options.diary is None and not path.is_file():
        raise RunError(f"there is no diary {path}; name it with --diary, or the configuration with --config")
    return path, options.band or "6m", ""


def _filter(options: argparse.Namespace) -> "OpeningFilter":
    from sentinel.outputs.diary_queries import OpeningFilter
    from sentinel.outputs.direction import HALF_WIDTH_DEG, read_direction

    bearing_deg, width_deg = None, HALF_WIDTH_DEG
    if options.direction is not None:
        bearing_deg, width_deg = read_direction(options.direction)
    return OpeningFilter(
        since_s=options.since,
        until_s=options.until,
        bearing_deg=bearing_deg,
        width_deg=width_deg,
        mode=None if options.mode is None else Mode(options.mode),
        min_stations=options.min_stations,
    )


# --- text -----------------------------------------------------------------------------------------


def _text(request: "Request", what: str) -> str:
    from sentinel.outputs import diary_tables as tables
    from sentinel.outputs.diary_queries import notables, sightings
    from sentinel.outputs.diary_statistics import days

    if what == "openings":
        rows = request.openings()
        return f"{tables.format_openings_table(rows)}\n{_how_often(request, len(rows))}\n"
    if what == "hours":
        return tables.format_hours_table(request.hours())
    since_s, until_s = request.time(what)
    if what == "days":
        return tables.format_days_table(days(request.connection, request.band, since_s, until_s))
    if what == "notables":
        told = notables(request.connection, since_s, until_s, request.band)
        return "".join(_notable_line(row.notable) for row in told) or "Nothing notable.\n"
    seen = sightings(request.connection, since_s, until_s, request.band)
    return "".join(_sighting_line(row) for row in seen) or "No sightings.\n"


def _how_often(request: "Request", count: int) -> str:
    """The rate in plain words, with the hours watched as its denominator."""
    from sentinel.outputs.diary_how_often import watched_h

    hours = watched_h(request.spans())
    openings = "1 opening" if count == 1 else f"{count:,} openings"
    if hours < 1.0:
        return f"{openings}; the time watched is not known."
    rate = f": about one in {_span_words(hours / count)} watched" if count else ""
    return f"{openings} in {hours:,.0f} h watched{rate}."


def _span_words(hours: float) -> str:
    if hours < 1.0:
        return f"{60 * hours:.0f} min"
    return f"{hours:.0f} h" if hours < 72.0 else f"{hours / 24.0:.0f} days"


def _notable_line(notable: Any) -> str:
    from sentinel.outputs.hygiene import clean_text
    from sentinel.outputs.values import iso_z

    return f"{iso_z(notable.at_s)}  {notable.what:22}  {clean_text(notable.sentence)}\n"


def _sighting_line(row: Any) -> str:
    from sentinel.outputs.hygiene import clean_call
    from sentinel.outputs.values import iso_z

    snr = "" if row.snr_db is None else f"{row.snr_db:+.0f} dB"
    return (
        f"{iso_z(row.at_s)}  {clean_call(row.call):11}  {clean_call(row.locator or ''):6}"
        f"  {row.distance_km:6.0f} km  {round(row.bearing_deg) % 360:03d}  {snr}\n"
    )


# --- files ----------------------------------------------------------------------------------------


def _export(request: "Request", options: argparse.Namespace) -> None:
    from sentinel.outputs.diary_export import write_csv, write_json

    table, rows = _table(request, options.what)
    with _output(options.out) as out:
        (write_csv if options.csv else write_json)(out, table, rows)


def _table(request: "Request", what: str) -> tuple[Any, Any]:
    from sentinel.outputs import diary_export as export
    from sentinel.outputs.diary_queries import notables, sightings
    from sentinel.outputs.diary_statistics import days

    if what == "openings":
        return export.OPENINGS, request.openings()
    if what == "hours":
        return export.HOURS, request.hours()
    since_s, until_s = request.time(what)
    if what == "days":
        return export.DAYS, days(request.connection, request.band, since_s, until_s)
    if what == "notables":
        return export.NOTABLES, notables(request.connection, since_s, until_s, request.band)
    return export.SIGHTINGS, sightings(request.connection, since_s, until_s, request.band)


@contextmanager
def _output(path: Path | None) -> Iterator[TextIO]:
    """Standard output, or the file. Raises RunError for a file that cannot be written."""
    if path is None:
        yield sys.stdout
        return
    try:
        with path.open("w", encoding="utf-8", newline="") as opened:
            yield opened
    except OSError as error:
        raise RunError(f"{path}: cannot be written ({error.strerror})") from None
