"""The plots: they hold what the data holds, need no colour, and come out the same every time."""

import math
import re
import subprocess
import sys
from pathlib import Path

import pytest
from diary_samples import BAND, NOON_S, opening, sighting

from sentinel.errors import ConfigError, RunError
from sentinel.outputs.diary_muf import highest_by_step, muf_points
from sentinel.outputs.diary_rows import OpeningRow
from sentinel.outputs.diary_statistics import HourOfMonth
from sentinel.outputs.plot_style import FILLS, NAMES, check_name, day_words
from sentinel.watch.bulletin import Mode

pytest.importorskip("matplotlib", reason="matplotlib (extra plots) is not installed")

from sentinel.outputs.plot_style import save
from sentinel.outputs.plots import hours_figure, lengths_figure, muf_figure, rose_figure


def row(mode: Mode, bearing_deg: float, minutes: float, id_: str = "a") -> OpeningRow:
    times = {"began_at_s": NOON_S, "last_at_s": NOON_S + 60 * minutes}
    return OpeningRow(BAND, opening(id=id_, mode=mode, bearing_deg=bearing_deg, **times))


def cells(share_in: dict[tuple[int, int], float | None]) -> list[HourOfMonth]:
    """A year watched for 10 h a cell and never open, but for some cells; None: not watched."""
    made = []
    for month in range(1, 13):
        for hour in range(24):
            share = share_in.get((month, hour), 0.0)
            watched_s = 0.0 if share is None else 36_000.0
            made.append(
                HourOfMonth(month, hour, watched_s, 0.0, (share or 0.0) * watched_s, 1 if share else 0)
            )
    return made


EVERY_MODE = [row(mode, 30.0 * k, 3.0 * 2**k, mode.value) for k, mode in enumerate(Mode)]
EVENING = (OpeningRow(BAND, opening(began_at_s=NOON_S, last_at_s=NOON_S + 7200, bearing_deg=120.0)),)
HEARD = [
    sighting(NOON_S + 60 * k, bearing_deg=118.0, distance_km=2000.0 - 20 * k, snr_db=0.0, trust=0.95)
    for k in range(60)
]
FIGURES = {
    "hours": lambda: hours_figure(cells({(6, 10): 0.4, (6, 11): 0.02, (1, 3): None}), "When"),
    "rose": lambda: rose_figure(EVERY_MODE, "From where"),
    "lengths": lambda: lengths_figure(EVERY_MODE, "How long"),
    "muf": lambda: muf_figure(muf_points(EVENING, HEARD, 50.0), "How high"),
    "no rose": lambda: rose_figure([], "Nothing"),
    "no lengths": lambda: lengths_figure([], "Nothing"),
    "no muf": lambda: muf_figure([], "Nothing"),
}


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_is_written_as_svg_and_png_and_the_same_each_time(name: str, tmp_path: Path) -> None:
    first, second, png = tmp_path / "1.svg", tmp_path / "2.svg", tmp_path / "1.png"
    save(FIGURES[name](), first)
    save(FIGURES[name](), second)
    save(FIGURES[name](), png)
    assert first.read_bytes() == second.read_bytes()
    assert first.read_bytes().startswith(b"<?xml")
    assert png.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("name", FIGURES)
def test_no_figure_needs_colour(name: str, tmp_path: Path) -> None:
    save(FIGURES[name](), tmp_path / "plot.svg")
    text = (tmp_path / "plot.svg").read_text("utf-8")
    colours = {colour.lower() for colour in re.findall(r"#[0-9a-fA-F]{6}", text)}
    assert colours
    assert all(colour[1:3] == colour[3:5] == colour[5:7] for colour in colours)


def test_every_mode_has_a_name_and_a_fill_of_its_own() -> None:
    assert set(FILLS) == set(NAMES) == set(Mode)
    assert len(set(FILLS.values())) == len(Mode)


def test_the_area_of_a_square_is_the_share_of_the_time() -> None:
    figure = hours_figure(cells({(6, 10): 0.4, (6, 11): 0.1}), "When")
    sides = sorted(patch.get_width() for patch in figure.axes[0].patches)
    assert len(sides) == 2
    assert (sides[1] / sides[0]) ** 2 == pytest.approx(4.0)
    dots = [line for line in figure.axes[0].lines if line.get_marker() == "."]
    assert len(dots) == 12 * 24 - 2


def test_what_was_not_watched_is_hatched_and_no_dot() -> None:
    figure = hours_figure(cells({(1, hour): None for hour in range(24)}), "When")
    assert len([patch for patch in figure.axes[0].patches if patch.get_hatch()]) == 24
    assert len(figure.axes[0].lines) == 11 * 24


def test_the_area_of_a_sector_is_its_number_of_openings_and_north_is_up() -> None:
    rows = [
        row(Mode.SPORADIC_E, bearing, 10.0, str(k)) for k, bearing in enumerate([90.0] * 4 + [359.0, 271.0])
    ]
    figure = rose_figure(rows, "From where")
    axes = figure.axes[0]
    heights = {
        round(math.degrees(bar.get_x() + bar.get_width() / 2)): bar.get_height() for bar in axes.patches
    }
    assert heights[90] == pytest.approx(2.0)
    assert heights[0] == heights[270] == pytest.approx(1.0)
    assert sum(height > 0 for height in heights.values()) == 3
    assert (axes.get_theta_offset(), axes.get_theta_direction()) == (pytest.approx(math.pi / 2), -1)


def test_openings_are_counted_by_length() -> None:
    rows = [
        row(Mode.SPORADIC_E, 0.0, minutes, str(minutes)) for minutes in (0.0, 4.9, 5.0, 39.0, 40.0, 5000.0)
    ]
    heights = [bar.get_height() for bar in lengths_figure(rows, "How long").axes[0].patches]
    assert heights == [2, 1, 0, 1, 1, 0, 0, 0, 1]


def test_a_muf_comes_from_strong_trusted_located_stations_of_an_es_opening() -> None:
    good = sighting(NOON_S + 10, bearing_deg=125.0, distance_km=1000.0, snr_db=-5.0, trust=0.95)
    # layer at 110 km: 50 MHz over 1,000 km is a MUF of 68.5 MHz (closed form, in the project's check values)
    points = muf_points(EVENING, [good], 50.0)
    assert [round(point.muf_mhz, 1) for point in points] == [68.5]
    bad = (
        {"snr_db": -15.0}, {"snr_db": None}, {"trust": 0.5}, {"locator": None}, {"distance_km": 2500.0},
        {"distance_km": 300.0}, {"at_s": NOON_S - 1}, {"at_s": NOON_S + 7201}, {"bearing_deg": 200.0},
    )  # fmt: skip
    for change in bad:
        assert muf_points(EVENING, [sighting(**{**_fields(good), **change})], 50.0) == ()  # type: ignore[arg-type]
    f2 = (OpeningRow(BAND, opening(mode=Mode.F2, bearing_deg=120.0)),)
    assert muf_points(f2, [good], 50.0) == ()


def _fields(row: object) -> dict[str, object]:
    return {
        name: getattr(row, name)
        for name in ("at_s", "bearing_deg", "distance_km", "snr_db", "trust", "locator")
    }


def test_the_highest_of_each_ten_minutes_is_kept() -> None:
    points = muf_points(EVENING, HEARD, 50.0)
    steps = highest_by_step(points)
    assert [start_s for start_s, _ in steps] == [NOON_S + 600 * k for k in range(6)]
    assert [mhz for _, mhz in steps] == sorted(mhz for _, mhz in steps)
    assert steps[-1][1] == max(point.muf_mhz for point in points)


@pytest.mark.parametrize("name", ["plot", "plot.pdf", "plot.svg.gz", ".svg/"])
def test_another_ending_is_refused(name: str) -> None:
    with pytest.raises(ConfigError, match=r"\.svg or \.png"):
        check_name(Path(name))


def test_a_plot_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(RunError, match="cannot be written"):
        save(FIGURES["rose"](), tmp_path / "gone" / "rose.svg")


def test_days_are_told_without_the_machines_language() -> None:
    assert day_words(NOON_S) == "15 Jun 2025"


def test_the_daemon_does_not_load_matplotlib() -> None:
    code = "import sys, sentinel.daemon, sentinel.outputs.plots; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
