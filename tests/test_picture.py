"""The picture says what the bulletin says, whole, apart and inside the paper."""

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pyproj
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from panel_strategies import bulletins
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from sentinel.panel import second, words
from sentinel.panel.farewell import farewell_items, farewell_picture
from sentinel.panel.fonts import Face, font, shorten, width_of, wrap
from sentinel.panel.map import REACHES_KM, View, clipped, coastlines, reach_for
from sentinel.panel.picture import SIZES, draw, layout
from sentinel.panel.samples import contact_sheet, draw_samples, samples
from sentinel.panel.sheet import Item
from sentinel.panel.style import STYLES
from sentinel.watch.bulletin import Bulletin, Heading, Mode, OtherBand, State

GOLDEN = Path(__file__).parent / "golden" / "panel"
NO_INK = 9
ROOM = 40


def ink_of(item: Item, size: tuple[int, int]) -> tuple[int, int, int, int] | None:
    """The box of the pixels that an item touches, painted alone on a sheet with room on every side."""
    sheet = Image.new("P", (size[0] + 2 * ROOM, size[1] + 2 * ROOM), NO_INK)
    pen = ImageDraw.Draw(sheet)
    pen.fontmode = "1"
    item.paint(pen, item.box.shifted(ROOM, ROOM))
    touched = sheet.point([int(value != NO_INK) * 255 for value in range(256)], "L").getbbox()
    return None if touched is None else tuple(edge - ROOM for edge in touched)  # type: ignore[return-value]


def assert_nothing_clips_or_overlaps(items: tuple[Item, ...], size: tuple[int, int]) -> None:
    for item in items:
        x, y, right, bottom = item.box.x, item.box.y, item.box.right, item.box.bottom
        assert x >= 0 and y >= 0 and right <= size[0] and bottom <= size[1], f"{item.name} leaves the paper"
        ink = ink_of(item, size)
        if ink is not None:
            inside = ink[0] >= x and ink[1] >= y and ink[2] <= right and ink[3] <= bottom
            assert inside, f"{item.name}: ink {ink} leaves its box {item.box}"
    drawn = [item for item in items if not item.is_ground]
    for one, other in combinations(drawn, 2):
        assert not one.box.overlaps(other.box), f"{one.name} {one.box} overlaps {other.name} {other.box}"


@pytest.mark.parametrize("size", SIZES, ids=str)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(bulletin=bulletins(), page=st.sampled_from([1, 2]))
@example(bulletin=samples()["open-four"], page=1)
@example(bulletin=samples()["long-text"], page=1)
def test_all_ink_stays_in_boxes_that_share_no_pixel(
    bulletin: Bulletin, page: int, size: tuple[int, int]
) -> None:
    assert_nothing_clips_or_overlaps(layout(bulletin, size, page=page), size)


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("name", samples())
def test_every_sample_shows_what_matters(name: str, size: tuple[int, int]) -> None:
    bulletin = samples()[name]
    items = {item.name: item for item in layout(bulletin, size)}
    assert_nothing_clips_or_overlaps(tuple(items.values()), size)
    assert items["word"].text == bulletin.state.value.upper()
    assert "semaphore" in items and "mark-heard" in items and "since-1-1" in items
    assert words.time_words(bulletin.at_s) in items["as-of"].text
    assert ("rose" in items or "map" in items) == (bulletin.state is not State.BLIND)
    if bulletin.state is State.BLIND:
        assert items["reason-1-1"].text == words.blind_words(bulletin)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_four_headings_each_keep_bearing_and_count(size: tuple[int, int]) -> None:
    bulletin = samples()["open-four"]
    texts = [item.text for item in layout(bulletin, size) if item.name.startswith("heading")]
    for heading in bulletin.headings:
        assert words.bearing_words(heading.bearing_deg) in texts
        assert str(heading.stations) in texts


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("name", samples())
def test_other_bands_are_marked_each_with_its_state_and_what_matters_stays(
    name: str, size: tuple[int, int]
) -> None:
    others = tuple(map(OtherBand, ("10m", "4m", "2m"), (State.OPEN, State.STIRRING, State.QUIET)))
    alone = {item.name: item for item in layout(replace(samples()[name], other_bands=()), size)}
    items = {item.name: item for item in layout(replace(samples()[name], other_bands=others), size)}
    assert_nothing_clips_or_overlaps(tuple(items.values()), size)
    assert not any(item.startswith("other") for item in alone)
    assert [items[f"other-{other.band}"].text for other in others] == ["10m", "4m", "2m"]
    assert all(f"other-sign-{other.band}" in items for other in others)
    assert "other-ground-10m" in items and "other-ground-4m" not in items
    assert items["word"].text == alone["word"].text
    assert {"as-of", "mark-heard", "mark-clock"} <= items.keys()
    for first in ("lead-1-1", "heading-1-1", "reason-1-1"):
        if first in alone:
            assert items[first].text == alone[first].text
    if "because-1-1" in alone and "lead-1-1" not in alone and "heading-1-1" not in alone:
        assert "because-1-1" in items or "reason-1-1" in items


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_the_reason_of_a_lower_band_is_read_on_the_glass_with_its_muf(size: tuple[int, int]) -> None:
    items = layout(samples()["other-bands"], size)
    reason = " ".join(item.text for item in items if item.name.startswith("because"))
    assert reason.startswith("28 MHz skip of 570 km: MUF about 58 MHz")


def test_each_state_of_another_band_looks_different() -> None:
    bulletin = samples()["quiet"]
    pictures = [
        draw(replace(bulletin, other_bands=(OtherBand("10m", state),)), (250, 122)).tobytes()
        for state in State
    ]
    assert len(set(pictures)) == len(State)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_the_farewell_says_off_and_since_when(size: tuple[int, int]) -> None:
    items = tuple(farewell_items(STYLES[size], samples()["open"].at_s))
    assert_nothing_clips_or_overlaps(items, size)
    texts = " ".join(item.text for item in items)
    assert texts.startswith(" OFF") and "stopped on 14 Jun at 12:12 UTC." in texts
    assert farewell_picture(size, 0.0).size == size


def darkness(picture: Image.Image) -> float:
    return picture.convert("L").histogram()[0] / (picture.width * picture.height)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_only_blind_is_black(size: tuple[int, int]) -> None:
    shades = {name: darkness(draw(one, size)) for name, one in samples().items()}
    blind = [shade for name, shade in shades.items() if name.startswith("blind")]
    seeing = [shade for name, shade in shades.items() if not name.startswith("blind")]
    assert min(blind) > 0.65 and max(seeing) < 0.5


def test_the_picture_depends_on_the_bulletin_alone() -> None:
    bulletin = samples()["open-four"]
    assert draw(bulletin, (400, 300)).tobytes() == draw(replace(bulletin), (400, 300)).tobytes()


def test_plain_pictures_are_one_bit_and_accented_ones_use_three_inks() -> None:
    bulletin = samples()["open"]
    assert draw(bulletin, (250, 122)).mode == "1"
    accented = draw(bulletin, (250, 122), accent=True)
    assert accented.mode == "P" and set(accented.tobytes()) == {0, 1, 2}
    quiet = draw(samples()["quiet"], (250, 122), accent=True)
    assert set(quiet.tobytes()) == {0, 1}, "the third colour means one thing: go to the radio"


def test_a_turned_wedge_moves_the_rose() -> None:
    bulletin = samples()["open"]
    turned = replace(bulletin, headings=(replace(bulletin.headings[0], bearing_deg=65.0),))
    box = next(item.box for item in layout(bulletin, (250, 122)) if item.name == "rose")
    east = (box.x + box.width // 2 + 8, box.y, box.right, box.bottom)
    before, after = (darkness(draw(one, (250, 122)).crop(east)) for one in (bulletin, turned))
    assert after > before + 0.05, "a wedge at 65 degrees blackens the eastern half, one at 245 does not"


def test_other_sizes_and_pages_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match="no picture for 100x100"):
        draw(samples()["quiet"], (100, 100))
    with pytest.raises(ValueError, match="pages 1 and 2"):
        draw(samples()["quiet"], (250, 122), page=3)


def test_the_second_page_lists_the_days_openings_newest_first() -> None:
    rows = [item.text for item in layout(samples()["open"], (296, 128), page=2) if item.name.endswith("-1")]
    assert rows[:5] == ["UTC", "11:47–now", "08:52–09:04", "05:32–06:27"][: len(rows)]


def test_more_openings_than_rows_are_counted() -> None:
    bulletin = samples()["open"]
    many = tuple(
        replace(bulletin.openings[1], id=f"m{i}", began_at_s=bulletin.at_s - 60.0 * i) for i in range(20)
    )
    items = {i.name: i for i in layout(replace(bulletin, openings=many), (250, 122), page=2)}
    assert items["more-1-1"].text == "and 16 earlier"


@given(st.text(max_size=500))
def test_cleaned_text_holds_only_what_the_faces_carry(text: str) -> None:
    cleaned = words.clean(text)
    assert set(cleaned) <= words.ALLOWED and "  " not in cleaned
    assert words.clean(cleaned) == cleaned


@pytest.mark.parametrize("hostile", ["\x1b[2J", "a\u202eb", "\x9b31m", "\x00", "\u2066x\u2069"])
def test_control_and_direction_characters_never_pass(hostile: str) -> None:
    assert not set(words.clean(hostile)) & set("\x1b\x9b\x00\u202e\u2066\u2069")


@pytest.mark.parametrize("face", [Face.REGULAR, Face.BOLD])
def test_every_allowed_character_has_a_glyph(face: Face) -> None:
    type_ = font(face, 16)
    missing = bytes(type_.getmask("\ue000", mode="1"))
    for character in words.ALLOWED - {" "}:
        assert bytes(type_.getmask(character, mode="1")) != missing, character


@given(
    st.text(alphabet=sorted(words.ALLOWED), max_size=120), st.integers(0, 300), st.sampled_from([10, 12, 18])
)
def test_fitted_text_is_never_wider_than_its_place(text: str, width_px: int, size_px: int) -> None:
    assert width_of(shorten(text, Face.REGULAR, size_px, width_px), Face.REGULAR, size_px) <= width_px
    for line in wrap(text, Face.REGULAR, size_px, width_px):
        assert width_of(line, Face.REGULAR, size_px) <= width_px


@pytest.mark.parametrize(
    ("age_s", "said"),
    [(None, "never"), (-5.0, "0 s"), (59.9, "59 s"), (60.0, "1 min"), (7199.0, "1 h"), (172800.0, "2 d")],
)
def test_ages_are_rounded_down_to_one_unit(age_s: float | None, said: str) -> None:
    assert words.age_words(age_s) == said


def test_bearings_have_three_digits_and_wrap() -> None:
    assert [words.bearing_words(b) for b in (0.0, 7.6, 359.7)] == ["000°", "008°", "000°"]
    assert [words.point_words(b) for b in (0.0, 11.3, 245.0, 359.0)] == ["N", "NNE", "WSW", "N"]


def test_every_mode_and_reason_has_words() -> None:
    assert set(words.MODE_WORDS) == set(words.MODE_LETTERS) == set(Mode)


@given(st.floats(-89.9, 89.9), st.floats(-180, 180), st.floats(-90, 90), st.floats(-180, 180))
def test_the_map_agrees_with_proj(lat0: float, lon0: float, lat: float, lon: float) -> None:
    """PROJ 'aeqd' on the same sphere; within 0.01 pixel of a map of 100, short of the antipode itself."""
    proj = pyproj.Proj(proj="aeqd", lat_0=lat0, lon_0=lon0, R=6371009.0, units="km")
    view = View(lat0, lon0, 20015.0, 100.0)
    x, y = view.point(lat, lon)
    if (x * x + y * y) ** 0.5 < 99.5:
        east_km, north_km = proj(lon, lat)
        assert x == pytest.approx(east_km / 200.15, abs=0.01)
        assert -y == pytest.approx(north_km / 200.15, abs=0.01)


@given(*[st.integers(-3000, 3000).map(lambda tenth: tenth / 10)] * 4)
def test_a_clipped_segment_lies_in_the_circle_and_on_the_segment(
    ax: float, ay: float, bx: float, by: float
) -> None:
    part = clipped((ax, ay), (bx, by), 100.0)
    if part is None:
        middle = ((ax + bx) / 2, (ay + by) / 2)
        assert middle[0] ** 2 + middle[1] ** 2 >= 99.99**2 or (ax, ay) == (bx, by)
        return
    for x, y in part:
        assert x * x + y * y <= 100.01**2
        assert abs((bx - ax) * (y - ay) - (by - ay) * (x - ax)) < 0.01 * (1 + abs(bx - ax) + abs(by - ay))


def test_the_rim_is_the_nearest_one_that_shows_the_farthest_station() -> None:
    assert [reach_for(km) for km in (500, 2850, 2851, 9000, 20015)] == [3000, 3000, 6000, 12000, 20015]
    assert sorted(REACHES_KM) == list(REACHES_KM)


def test_the_coasts_are_on_the_earth_and_not_along_the_date_line() -> None:
    places = [place for line in coastlines() for place in line]
    assert 1500 < len(places) < 6000
    assert all(-90 <= lat <= 90 and -180 <= lon <= 180 for lat, lon in places)
    cape_horn = min(abs(lat + 55.6) + abs(lon + 68.9) for lat, lon in places)
    assert cape_horn < 2.0, "land ends near Cape Horn, 55.98 S 67.27 W (common knowledge)"


def differing_share(picture: Image.Image, golden: Image.Image) -> float:
    """The share of pixels that have no pixel of their own colour within one pixel in the other picture."""
    one, other = picture.convert("L"), golden.convert("L")
    stray = 0
    for a, b in ((one, other), (other, one)):
        unlike_black = ImageChops.subtract(b.filter(ImageFilter.MinFilter(3)), a)  # a black, none near in b
        unlike_white = ImageChops.subtract(a, b.filter(ImageFilter.MaxFilter(3)))  # a white, none near in b
        stray += sum(sum(chop.histogram()[1:]) for chop in (unlike_black, unlike_white))
    return stray / (picture.width * picture.height)


GOLDENS = sorted(GOLDEN.glob("*.png"))


def test_there_is_a_golden_for_every_sample() -> None:
    names = {file.stem.rsplit("-", 1)[0] for file in GOLDENS}
    assert names == set(samples()) | {"open-page2"}


@pytest.mark.parametrize("golden", GOLDENS, ids=lambda file: file.stem)
def test_the_picture_is_the_golden_one(golden: Path) -> None:
    """One stray pixel in a thousand is allowed: another FreeType may round a stroke differently."""
    name, size = golden.stem.rsplit("-", 1)
    width, height = (int(side) for side in size.split("x"))
    page = 2 if name.endswith("-page2") else 1
    picture = draw(samples()[name.removesuffix("-page2")], (width, height), page=page)
    with Image.open(golden) as expected:
        assert differing_share(picture, expected) <= 0.001


def test_the_golden_comparison_sees_a_moved_line() -> None:
    bulletin = samples()["open"]
    other = replace(bulletin, headings=(Heading(250.0, 8.0, 5, 1047, 2162, Mode.SPORADIC_E),))
    assert differing_share(draw(other, (250, 122)), draw(bulletin, (250, 122))) > 0.001


def test_samples_are_drawn_into_a_directory(tmp_path: Path) -> None:
    files = draw_samples(tmp_path / "new")
    assert len(files) == len(samples()) * len(SIZES) and all(file.stat().st_size > 100 for file in files)
    assert contact_sheet().width > 250


def test_large_glass_says_on_its_second_page_where_to_listen() -> None:
    told = [block for block in second.blocks(samples()["open"], 10) if block.name == "listen"]
    assert [block.rows for block in told] == [
        (("Listen: 50.095 MHz, CW, at 245°: the strongest is at -9 dB: Morse is easy to copy.",),)
    ]


@pytest.mark.parametrize("name", ["blind-no-lines", "open"])
def test_where_there_is_no_room_or_nothing_to_say_no_advice_stands_there(name: str) -> None:
    most_rows = {"blind-no-lines": 10, "open": 5}[name]
    assert all(block.name != "listen" for block in second.blocks(samples()[name], most_rows))
