"""The display: the Nth call on its wires fails, its BUSY line hangs, its driver never returns.

The real driver on mocked pins and a simulated controller that refuses what a real one would spoil. Survived
means: no exception, nothing that the controller refuses, the vendors' gap between full refreshes, and in the
end the glass shows the newest picture.
"""

import random
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from unittest import mock

import test_glass
from faults.failing import Failing
from faults.row import Faults, Row
from gpiozero import Device
from gpiozero.pins.mock import MockFactory
from nights import CONFIG
from PIL import Image
from test_glass import WiredSpi, is_shown, wired_bus

from sentinel import display_output, worker
from sentinel.config import load
from sentinel.display_output import DisplayOutput
from sentinel.output import News
from sentinel.panel.display import RETRY_SLOWLY_S, Display
from sentinel.panel.glass import Glass, Refresh
from sentinel.panel.picture import draw
from sentinel.panel.refresh import VENDORS_RULES
from sentinel.panel.samples import samples
from sentinel.panel.simulated_glass import Controller, SimulatedBus
from sentinel.panel.ssd1680 import INCH_2_13, Ssd16Glass

QUIET, OPEN = samples()["quiet"], samples()["open"]
LOOK_EVERY_S = 60.0
LOOKS = 25
IN_A_ROW = 20
MOST_RETRIES = IN_A_ROW + 2


class FailingSpi(WiredSpi):
    """Wires to a controller on which calls fail."""

    def __init__(self, controller: Controller, factory: MockFactory, failing: Failing) -> None:
        super().__init__(controller, factory)
        self._failing = failing

    def open(self, bus: int, device: int) -> None:
        self._failing.step()
        super().open(bus, device)

    def writebytes2(self, data: bytes) -> None:
        try:
            self._failing.step()
        except OSError:
            self.pending = None  # half a command: the real controller forgets it at the next reset
            raise
        super().writebytes2(data)


@contextmanager
def wires(controller: Controller, failing: Failing) -> Iterator[Callable[[], Glass]]:
    """What opens the glass anew on failing wires."""

    def spi(to: Controller, factory: MockFactory) -> FailingSpi:
        return FailingSpi(to, factory, failing)

    before = Device.pin_factory
    with mock.patch.object(test_glass, "WiredSpi", spi):
        yield lambda: Ssd16Glass(wired_bus(controller)[0], INCH_2_13)
    Device.pin_factory = before


def lives_through(display: Display, controller: Controller, at_each: Callable[[int], None]) -> bool:
    """Show a changing band for so many looks, then one last picture until it is shown."""
    driven: list[tuple[float, Refresh]] = []
    for look in range(LOOKS):
        at_each(look)
        state = OPEN if look // 5 % 2 else QUIET
        _update(display, controller, replace(state, at_s=state.at_s + look), look * LOOK_EVERY_S, driven)
    at_each(LOOKS)
    last, now_s = replace(OPEN, at_s=OPEN.at_s + LOOKS), LOOKS * LOOK_EVERY_S
    for _ in range(MOST_RETRIES):
        now_s += RETRY_SLOWLY_S
        _update(display, controller, last, now_s, driven)
        if display.health.is_well:
            break
    fulls = [at_s for at_s, refresh in driven if refresh is Refresh.FULL]
    gaps = [later - earlier for earlier, later in pairwise(fulls)]
    is_rested = all(gap >= VENDORS_RULES.full_gap_s for gap in gaps)
    return is_rested and is_shown(controller, draw(last, INCH_2_13.size)) and display.health.is_well is True


def _update(
    display: Display,
    controller: Controller,
    bulletin: display_output.Bulletin,
    now_s: float,
    driven: list[tuple[float, Refresh]],
) -> None:
    """Offer a bulletin; ``driven`` gets what the glass went through, also where it failed afterwards."""
    before = len(controller.refreshes)
    display.update(bulletin, now_s)
    driven += [(now_s, refresh) for _, refresh in controller.refreshes[before:]]


def nth_calls_fail(in_a_row: int, is_long: bool) -> Row:
    """From each call on the SPI port on, so many fail."""
    injected = survived = 0
    nth, count = 1, 1
    while nth <= count:
        failing, controller = Failing((), nth, nth + in_a_row - 1), Controller(INCH_2_13)
        with wires(controller, failing) as open_glass:
            survived += lives_through(Display(open_glass), controller, lambda look: None)
        injected += 1
        count = failing.count
        nth += 1 if is_long else 37
    return Row(injected, survived, None, 0)


def busy_for_ever(is_long: bool) -> Row:
    """The controller hangs at a random look, and for a random number of them."""
    times, chance, survived = (200 if is_long else 10), random.Random(6), 0
    for _ in range(times):
        controller = Controller(INCH_2_13)
        hangs = range(first := chance.randrange(LOOKS), chance.randrange(first, LOOKS) + 1)

        def at_each(look: int, controller: Controller = controller, hangs: range = hangs) -> None:
            controller.hangs = look in hangs

        display = Display(lambda to=controller: Ssd16Glass(SimulatedBus(to), INCH_2_13))
        survived += lives_through(display, controller, at_each)
    return Row(times, survived, None, 0, f"each for up to {LOOKS} looks, of 30 s")


class StuckGlass:
    """A glass whose driver does not return until it is let go."""

    size, has_accent = INCH_2_13.size, False

    def __init__(self) -> None:
        self.is_reached, self.let_go = threading.Event(), threading.Event()

    def show(self, picture: Image.Image, refresh: Refresh) -> None:
        self.is_reached.set()
        self.let_go.wait()

    clear = close = lambda self: None


def never_returns(is_long: bool) -> Row:
    """The driver hangs where no timeout helps: taking news must not wait, and the end must not either."""
    times, survived, news = (20 if is_long else 2), 0, News(OPEN, 0.0)
    with (
        tempfile.TemporaryDirectory() as folder,
        mock.patch.object(display_output, "FAREWELL_PATIENCE_S", 0.1),
    ):
        path = Path(folder) / "sentinel.toml"
        path.write_text(CONFIG + '[panel]\nglass = "simulated"\n', "utf-8")
        for _ in range(times):
            glass = StuckGlass()
            output = DisplayOutput(load(path), lambda glass=glass: glass)
            output.take(news)
            is_stuck = glass.is_reached.wait(20)
            for _ in range(1000):
                output.take(news)
            with mock.patch.object(worker, "STUCK_S", -1.0):  # as if it had been long
                is_told = output.parts()[0].is_well is False
            output.stop()
            survived += is_stuck and is_told and not glass.let_go.is_set()
            glass.let_go.set()
    return Row(times, survived, None, 0, "1,000 bulletins taken meanwhile by each")


FAULTS: Faults = {
    "the Nth call on the display's wires fails, once": lambda is_long: nth_calls_fail(1, is_long),
    "the Nth call on the display's wires fails, 20 in a row": lambda is_long: nth_calls_fail(
        IN_A_ROW, is_long
    ),
    "the display stays busy for ever": busy_for_ever,
    "the display's driver never returns": never_returns,
}
