"""The driver and the glass: one contract, on the simulated wires and on mocked pins and SPI."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageChops

from sentinel.panel.display import RETRY_SLOWLY_S, RETRY_SOON_S, STRIKES, Display
from sentinel.panel.glass import BUSY_TIMEOUT_S, Glass, GlassError, Refresh
from sentinel.panel.gpio import SPI_HZ, SpiBus, open_spi_bus
from sentinel.panel.picture import draw
from sentinel.panel.pins import DISPLAY
from sentinel.panel.refresh import VENDORS_RULES, Change, Refreshed, change_between, decide
from sentinel.panel.samples import samples
from sentinel.panel.simulated_glass import Controller, Refused, SimulatedBus, SimulatedGlass
from sentinel.panel.ssd1680 import INCH_2_9, INCH_2_13, Ssd16Glass, as_inks
from sentinel.panel.ssd1683 import INCH_4_2, MODELS, glass_on
from sentinel.watch.bulletin import Heading, Mode, Part, State

QUIET, OPEN = samples()["quiet"], samples()["open"]
SIZES = list(MODELS)


class WiredSpi:
    """Stands in for spidev: bytes go to a controller, as the DC pin says; its BUSY drives a pin."""

    def __init__(self, controller: Controller, factory: MockFactory) -> None:
        self.controller, self.factory = controller, factory
        self.max_speed_hz, self.mode, self.port, self.is_closed = 0, 3, (-1, -1), False
        self.pending: tuple[int, bytearray] | None = None
        self.reset_was_high = True

    def open(self, bus: int, device: int) -> None:
        self.port = (bus, device)

    def writebytes2(self, data: bytes) -> None:
        if self.factory.pin(DISPLAY.data_command).state:
            assert self.pending is not None
            self.pending[1].extend(data)
            return
        self.deliver()
        assert len(data) == 1
        self.pending = (data[0], bytearray())

    def deliver(self) -> None:
        """A command is complete when the next begins, or when the driver looks at BUSY."""
        if self.pending is not None:
            (code, data), self.pending = self.pending, None
            self.controller.command(code, bytes(data))
        self.mirror_busy()

    def mirror_busy(self) -> None:
        pin = self.factory.pin(DISPLAY.busy)
        (pin.drive_high if self.controller.is_busy else pin.drive_low)()

    def close(self) -> None:
        self.deliver()
        self.is_closed = True


def wired_bus(controller: Controller) -> tuple[SpiBus, WiredSpi, MockFactory]:
    factory = MockFactory()
    spi = WiredSpi(controller, factory)

    def sleep(seconds: float) -> None:
        is_high = bool(factory.pin(DISPLAY.reset).state)
        if is_high and not spi.reset_was_high:
            spi.deliver()
            controller.reset()
        spi.reset_was_high = is_high
        spi.deliver()
        controller.pass_time(seconds)
        spi.mirror_busy()

    def clock() -> float:
        spi.deliver()
        return controller.now_s

    return open_spi_bus(DISPLAY, factory, spi, clock, sleep), spi, factory


@pytest.fixture(autouse=True)
def no_real_pins() -> Iterator[None]:
    before = Device.pin_factory
    yield
    Device.pin_factory = before


def simulated(model: Any, has_accent: bool) -> tuple[Ssd16Glass, Controller]:
    controller = Controller(model)
    return Ssd16Glass(SimulatedBus(controller), model, has_accent), controller


def wired(model: Any, has_accent: bool) -> tuple[Ssd16Glass, Controller]:
    controller = Controller(model)
    return Ssd16Glass(wired_bus(controller)[0], model, has_accent), controller


BUILDS = pytest.mark.parametrize("build", [simulated, wired], ids=["simulated", "wired"])
ALL_MODELS = pytest.mark.parametrize("model", MODELS.values(), ids=str)


def is_shown(controller: Controller, picture: Image.Image) -> bool:
    seen = Image.frombytes("L", picture.size, controller.picture().tobytes())
    return ImageChops.difference(seen, as_inks(picture)).getbbox() is None


@BUILDS
@ALL_MODELS
def test_a_full_refresh_shows_the_picture_to_the_pixel(build: Any, model: Any) -> None:
    glass, controller = build(model, False)
    picture = draw(OPEN, model.size)
    glass.show(picture, Refresh.FULL)
    glass.close()
    assert is_shown(controller, picture)
    assert [refresh for _, refresh in controller.refreshes] == [Refresh.FULL]
    assert controller.is_asleep, "between refreshes the controller sleeps"


@BUILDS
@ALL_MODELS
def test_partial_refreshes_leave_no_ghost(build: Any, model: Any) -> None:
    glass, controller = build(model, False)
    glass.show(draw(QUIET, model.size), Refresh.FULL)
    for name in ("open", "stirring", "open-four", "blind-no-lines"):
        glass.show(draw(samples()[name], model.size), Refresh.PARTIAL)
    glass.close()
    assert is_shown(controller, draw(samples()["blind-no-lines"], model.size))
    assert [refresh for _, refresh in controller.refreshes] == [Refresh.FULL] + [Refresh.PARTIAL] * 4


@BUILDS
@ALL_MODELS
def test_the_third_colour_reaches_the_glass(build: Any, model: Any) -> None:
    glass, controller = build(model, True)
    picture = draw(OPEN, model.size, accent=True)
    glass.show(picture, Refresh.PARTIAL)
    glass.close()
    assert is_shown(controller, picture)
    assert [refresh for _, refresh in controller.refreshes] == [Refresh.FULL], "colour has no partial refresh"


@BUILDS
def test_the_first_refresh_is_full_whatever_is_asked(build: Any) -> None:
    glass, controller = build(INCH_2_13, False)
    glass.show(draw(QUIET, (250, 122)), Refresh.PARTIAL)
    glass.close()
    assert [refresh for _, refresh in controller.refreshes] == [Refresh.FULL]


@BUILDS
def test_the_whole_conversation_of_a_refresh_is_the_data_sheets(build: Any) -> None:
    """The order of SSD1680 revision 0.14, typical operating sequence, and its update sequences F7 and FF."""
    glass, controller = build(INCH_2_13, False)
    glass.show(draw(QUIET, (250, 122)), Refresh.FULL)
    full = [(event.what, event.code) for event in controller.history]
    codes = (
        0x12,
        0x01,
        0x11,
        0x44,
        0x45,
        0x3C,
        0x18,
        0x21,
        0x4E,
        0x4F,
        0x24,
        0x4E,
        0x4F,
        0x26,
        0x22,
        0x20,
        0x10,
    )
    glass.show(draw(OPEN, (250, 122)), Refresh.PARTIAL)
    glass.close()
    expected = [("reset", 0), *(("command", code) for code in codes)]
    # on the wires a command is complete when the next one begins
    assert full in (expected, expected[:-1])
    assert [(event.what, event.code) for event in controller.history] == expected * 2
    data = {event.code: event.data for event in controller.history[: len(expected)]}
    assert data[0x01] == bytes([249, 0, 0]) and data[0x44] == bytes([0, 15]) and data[0x22] == b"\xf7"
    assert len(data[0x24]) == 16 * 250
    assert [event.data for event in controller.history if event.code == 0x22] == [b"\xf7", b"\xff"]


@BUILDS
def test_a_display_that_stays_busy_is_given_up_after_30_seconds(build: Any) -> None:
    glass, controller = build(INCH_4_2, False)
    controller.hangs = True
    with pytest.raises(GlassError, match="busy for 30 s: check its BUSY wire"):
        glass.show(draw(QUIET, (400, 300)), Refresh.FULL)
    assert BUSY_TIMEOUT_S <= controller.now_s < BUSY_TIMEOUT_S + 0.1
    controller.hangs = False
    glass.show(draw(OPEN, (400, 300)), Refresh.PARTIAL)
    glass.close()
    assert is_shown(controller, draw(OPEN, (400, 300)))
    assert controller.refreshes[-1][1] is Refresh.FULL, "after a failure nobody knows what the glass shows"


@BUILDS
@ALL_MODELS
def test_clearing_leaves_white(build: Any, model: Any) -> None:
    glass, controller = build(model, False)
    glass.show(draw(OPEN, model.size), Refresh.FULL)
    glass.clear()
    glass.close()
    assert is_shown(controller, Image.new("1", model.size, 1))


def test_upside_down_glass_gets_the_picture_turned() -> None:
    controller = Controller(INCH_2_9)
    glass = glass_on(SimulatedBus(controller), (296, 128), is_upside_down=True)
    picture = draw(OPEN, (296, 128))
    glass.show(picture, Refresh.FULL)
    assert is_shown(controller, picture.rotate(180))


def test_a_picture_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="shows"):
        SimulatedGlass((250, 122)).show(draw(QUIET, (296, 128)), Refresh.FULL)
    with pytest.raises(ValueError, match="no display of 100x100"):
        glass_on(SimulatedBus(Controller(INCH_2_9)), (100, 100))


def test_the_simulated_glass_keeps_what_it_shows_in_a_file(tmp_path: Path) -> None:
    file = tmp_path / "glass.png"
    glass = SimulatedGlass((250, 122), has_accent=True, png=file)
    picture = draw(OPEN, (250, 122), accent=True)
    glass.show(picture, Refresh.FULL)
    with Image.open(file) as seen:
        assert seen.convert("RGB").tobytes() == picture.convert("RGB").tobytes()


# What the controller refuses: the start of a conversation, and the command that is one too many.
RESET = ("reset",)
SET_UP: list[Any] = [
    RESET, (0x12,), (0x01, 249, 0, 0), (0x11, 3), (0x44, 0, 15), (0x45, 0, 0, 249, 0), (0x21, 0x40, 0x80),
    (0x22, 0xF7), (0x4E, 0), (0x4F, 0, 0),
]  # fmt: skip
REFUSED = {
    "asleep": ([], (0x12,)),
    "while busy": ([*SET_UP[:1]], (0x12, "at once")),
    "is not known": (SET_UP[:2], (0x99,)),
    "takes 3 data bytes": (SET_UP[:2], (0x01, 1)),
    "window from byte 4 to 2": (SET_UP[:4], (0x44, 4, 2)),
    "window from byte 0 to 22": (SET_UP[:4], (0x44, 0, 22)),
    "window from gate 0 to 296": (SET_UP[:4], (0x45, 0, 0, 0x28, 1)),
    "data entry 02": (SET_UP[:3], (0x11, 2)),
    "before register 44": (SET_UP[:4], (0x24, 1, 2)),
    "4 bytes for a window of 4000": (SET_UP, (0x24, 1, 2, 3, 4)),
    "address counter": ([*SET_UP, (0x4E, 1)], (0x24, 1)),
    "refresh before register 01, 11, 44, 45, 21, 22": (SET_UP[:2], (0x20,)),
    "before both RAMs": (SET_UP, (0x20,)),
}


def say(controller: Controller, words: tuple[Any, ...]) -> None:
    if words == RESET:
        controller.reset()
    else:
        controller.command(words[0], bytes(value for value in words[1:] if isinstance(value, int)))


@pytest.mark.parametrize("why", REFUSED)
def test_the_controller_refuses_what_the_real_one_would_spoil(why: str) -> None:
    said, refused = REFUSED[why]
    controller = Controller(INCH_2_13)
    for words in said:
        say(controller, words)
        if "at once" not in refused:
            controller.pass_time(0.1)
    with pytest.raises(Refused, match=why):
        say(controller, refused)
    assert len(controller.history) == len(said) + 1, "what was refused is kept as well"


def test_a_window_that_misses_part_of_the_glass_is_refused() -> None:
    controller = Controller(INCH_2_13)
    for words in [*SET_UP, (0x44, 0, 14)]:
        say(controller, words)
        controller.pass_time(0.1)
    with pytest.raises(Refused, match="does not cover"):
        controller.command(0x24, bytes(15 * 250))


def test_a_partial_refresh_over_a_wrong_old_picture_leaves_a_ghost() -> None:
    """The simulated glass would not notice a driver that forgets the old picture if this did not hold."""
    glass = SimulatedGlass((250, 122))
    glass.show(draw(OPEN, (250, 122)), Refresh.FULL)
    glass._shown = bytes(16 * 250)  # as if the old picture had been black
    glass.show(draw(QUIET, (250, 122)), Refresh.PARTIAL)
    assert not is_shown(glass.controller, draw(QUIET, (250, 122)))


def test_the_bus_opens_the_configured_port_at_a_modest_speed() -> None:
    bus, spi, factory = wired_bus(Controller(INCH_2_13))
    assert spi.port == (DISPLAY.spi_bus, DISPLAY.spi_device)
    assert (spi.max_speed_hz, spi.mode) == (SPI_HZ, 0)
    assert factory.pin(DISPLAY.reset).state and factory.pin(DISPLAY.busy).function == "input"
    bus.close()
    assert spi.is_closed and factory.pin(DISPLAY.reset).function == "input", "pins are given back"


class BrokenSpi(WiredSpi):
    def open(self, bus: int, device: int) -> None:
        raise FileNotFoundError(2, "No such file or directory")


def test_a_missing_spi_port_says_how_to_enable_it() -> None:
    factory = MockFactory()
    with pytest.raises(GlassError, match=r"cannot open /dev/spidev0\.0 .* enable SPI with dtparam=spi=on"):
        open_spi_bus(DISPLAY, factory, BrokenSpi(Controller(INCH_2_13), factory))


def test_a_pin_in_use_is_named_and_the_rest_is_given_back() -> None:
    controller, factory = Controller(INCH_2_13), MockFactory()
    first = open_spi_bus(DISPLAY, factory, WiredSpi(controller, factory))
    second = WiredSpi(controller, factory)
    with pytest.raises(GlassError, match="pin GPIO25 is already in use"):
        open_spi_bus(DISPLAY, factory, second)
    assert second.is_closed
    first.close()


# The refresh rules

RULES = VENDORS_RULES


@settings(max_examples=150)
@given(
    st.lists(st.tuples(st.floats(0.5, 4000), st.sampled_from(Change)), min_size=1, max_size=120),
    st.booleans(),
)
def test_no_run_of_changes_breaks_the_vendors_rules(
    run: list[tuple[float, Change]], can_be_partial: bool
) -> None:
    now_s, done, fulls, partials = 0.0, Refreshed(), [], 0
    for gap_s, change in run:
        now_s += gap_s
        refresh = decide(done, now_s, change, can_be_partial)
        if refresh is Refresh.FULL:
            assert not fulls or now_s - fulls[-1] >= 180.0
            fulls.append(now_s)
            partials = 0
        elif refresh is Refresh.PARTIAL:
            partials += 1
            assert can_be_partial and fulls and partials <= 10
        assert now_s - fulls[-1] < 86_400.0 + gap_s, "at least one full refresh a day"
        done = done.after(refresh, now_s)


def test_a_picture_that_never_changes_is_refreshed_once_a_day() -> None:
    done, fulls = Refreshed(), []
    for minute in range(3 * 1440):
        refresh = decide(done, 60.0 * minute, Change.NOTHING)
        fulls += [minute] if refresh is Refresh.FULL else []
        done = done.after(refresh, 60.0 * minute)
    assert fulls == [0, 1440, 2880]


def test_news_come_at_once_and_times_wait() -> None:
    done = Refreshed(last_full_s=0.0, last_s=0.0)
    assert decide(done, 20.0, Change.NEWS) is Refresh.PARTIAL
    assert decide(done, 20.0, Change.TIMES) is Refresh.NONE
    assert decide(done, 300.0, Change.TIMES) is Refresh.PARTIAL
    assert decide(done, 20.0, Change.STATE) is Refresh.PARTIAL
    assert decide(done, 180.0, Change.STATE) is Refresh.FULL


def test_the_eleventh_partial_refresh_waits_to_be_a_full_one() -> None:
    done = Refreshed(last_full_s=0.0, last_s=150.0, partials=10)
    assert decide(done, 170.0, Change.STATE) is Refresh.NONE
    assert decide(done, 180.0, Change.NEWS) is Refresh.FULL


def test_changes_are_weighed_for_the_eye() -> None:
    assert change_between(None, QUIET) is Change.STATE
    assert change_between(QUIET, QUIET) is Change.NOTHING
    assert change_between(QUIET, replace(QUIET, at_s=QUIET.at_s + 60)) is Change.TIMES
    assert change_between(QUIET, replace(QUIET, parts=(Part("broker", False),))) is Change.NEWS
    assert change_between(OPEN, replace(OPEN, headings=(Heading(9, 9, 9, 900, 999, Mode.F2),))) is Change.NEWS
    assert change_between(QUIET, replace(QUIET, state=State.STIRRING)) is Change.STATE


# The display as the daemon uses it


def test_the_display_shows_bulletins_and_what_was_put_off_comes_later() -> None:
    glass = SimulatedGlass((250, 122))
    display = Display(lambda: glass)
    assert display.health == Part("display", None)
    assert display.update(QUIET, 0.0) is Refresh.FULL
    later = replace(QUIET, at_s=QUIET.at_s + 60)
    assert display.update(later, 60.0) is Refresh.NONE
    assert display.update(later, 300.0) is Refresh.PARTIAL
    assert is_shown(glass.controller, draw(later, (250, 122)))
    assert display.update(later, 310.0, page=2) is Refresh.FULL
    assert is_shown(glass.controller, draw(later, (250, 122), page=2))
    assert display.health == Part("display", True)


def test_after_three_failures_the_daemon_goes_on_without_and_retries_slowly(
    caplog: pytest.LogCaptureFixture,
) -> None:
    opened: list[float] = []
    glass = SimulatedGlass((250, 122))
    glass.controller.hangs = True
    now_s = 0.0

    def open_glass() -> Glass:
        opened.append(now_s)
        return glass

    display = Display(open_glass)
    while now_s <= 4000.0:
        assert display.update(OPEN, now_s) is Refresh.NONE
        now_s += 10.0
    slow = [360.0 + RETRY_SLOWLY_S * n for n in range(1, 5)]
    assert opened == [0.0, RETRY_SOON_S, 2 * RETRY_SOON_S, *slow]
    assert display.health.is_well is False and "busy for 30 s" in display.health.note
    said = [record.levelname for record in caplog.records]
    assert said == ["WARNING"] * (STRIKES - 1) + ["ERROR"], "a loss is logged once, not at every retry"
    glass.controller.hangs = False
    assert display.update(OPEN, now_s + RETRY_SLOWLY_S) is Refresh.FULL
    assert display.health == Part("display", True)
    assert is_shown(glass.controller, draw(OPEN, (250, 122)))


def test_a_farewell_leaves_the_last_picture_or_white_and_frees_the_wires() -> None:
    for picture, expected in ((None, Image.new("1", (250, 122), 1)), (draw(QUIET, (250, 122)),) * 2):
        glass = SimulatedGlass((250, 122))
        display = Display(lambda glass=glass: glass)
        display.update(OPEN, 0.0)
        display.farewell(picture)
        assert is_shown(glass.controller, expected)
        assert glass._bus.is_closed


def test_a_farewell_to_a_dead_display_is_only_logged(caplog: pytest.LogCaptureFixture) -> None:
    glass = SimulatedGlass((250, 122))
    glass.controller.hangs = True
    Display(lambda: glass).farewell(None)
    assert "keeps its last picture" in caplog.text
