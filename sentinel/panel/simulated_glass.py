"""A simulated e-paper controller: registers, RAM, busy line and glass, as strict as the real one or stricter.

It takes the bytes that would go over the wires, and refuses (``Refused``) what the real one would ignore or
spoil: a command while busy or asleep, an unknown one or one with the wrong number of data bytes, a window
outside the RAM, too many data for the window, a refresh before the registers or the RAM are set. The glass
behaves too: mode 1 drives every pixel, mode 2 only those that differ between the RAMs, so that a partial
refresh over a wrong old picture leaves its ghost.

Everything that happens is kept, in order and with its time, for tests to compare whole.
"""

from dataclasses import dataclass, field
from pathlib import Path

from PIL import Image, ImageChops

from sentinel.panel.glass import GlassError, Refresh
from sentinel.panel.sheet import ACCENT, BLACK, PALETTE, WHITE
from sentinel.panel.ssd1680 import (
    ACTIVATE,
    ADDRESS_X,
    ADDRESS_Y,
    BORDER,
    DATA_ENTRY,
    DEEP_SLEEP,
    DRIVER_OUTPUT,
    FULL_SEQUENCE,
    PARTIAL_SEQUENCE,
    SECOND_RAM_AS_ZERO,
    SOFT_RESET,
    TEMPERATURE_SENSOR,
    UPDATE_CONTROL_1,
    UPDATE_CONTROL_2,
    WINDOW_X,
    WINDOW_Y,
    WRITE_PICTURE,
    WRITE_SECOND,
    X_AND_Y_GROW,
    Model,
    Ssd16Glass,
)
from sentinel.panel.ssd1683 import MODELS

SOFT_RESET_S, PARTIAL_S, FULL_S, COLOUR_S = 0.010, 0.5, 2.0, 15.0  # as in vendors' data sheets, roughly

# data bytes that each command takes; the RAM commands take what the window holds
DATA_BYTES = {
    DRIVER_OUTPUT: 3, DEEP_SLEEP: 1, DATA_ENTRY: 1, SOFT_RESET: 0, TEMPERATURE_SENSOR: 1, ACTIVATE: 0,
    UPDATE_CONTROL_1: 2, UPDATE_CONTROL_2: 1, BORDER: 1, WINDOW_X: 2, WINDOW_Y: 4, ADDRESS_X: 1, ADDRESS_Y: 2,
}  # fmt: skip
NEEDED = (DRIVER_OUTPUT, DATA_ENTRY, WINDOW_X, WINDOW_Y, UPDATE_CONTROL_1, UPDATE_CONTROL_2)


class Refused(Exception):  # noqa: N818 - it is what the controller did
    """The controller would not do what it was told."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened: ``reset`` or ``command``, when, and with which data."""

    at_s: float
    what: str
    code: int = 0
    data: bytes = b""


@dataclass
class Controller:
    """The chip with the glass on it. ``now_s`` is its own clock, which only ``pass_time`` moves."""

    model: Model
    now_s: float = 0.0
    busy_until_s: float = 0.0
    is_asleep: bool = True
    hangs: bool = False  # a fault to inject: the busy line is never released again
    registers: dict[int, bytes] = field(default_factory=dict)
    rams: dict[int, bytes] = field(default_factory=dict)
    history: list[Event] = field(default_factory=list)
    refreshes: list[tuple[float, Refresh]] = field(default_factory=list)
    glass: Image.Image = field(init=False)

    def __post_init__(self) -> None:
        self.glass = Image.new("L", (self.model.sources, self.model.gates), WHITE)

    @property
    def is_busy(self) -> bool:
        return self.hangs or self.now_s < self.busy_until_s

    def pass_time(self, seconds: float) -> None:
        self.now_s += seconds

    def reset(self) -> None:
        """The reset line was pulsed."""
        self.history.append(Event(self.now_s, "reset"))
        self.is_asleep = False
        self.registers.clear()
        self.busy_until_s = self.now_s + SOFT_RESET_S

    def command(self, code: int, data: bytes) -> None:
        """A command with all of its data has arrived."""
        self.history.append(Event(self.now_s, "command", code, data))
        self._refuse_out_of_turn(code)
        if code in (WRITE_PICTURE, WRITE_SECOND):
            self._fill(code, data)
            return
        if len(data) != DATA_BYTES[code]:
            raise Refused(f"command {code:02X} takes {DATA_BYTES[code]} data bytes, not {len(data)}")
        if code == SOFT_RESET:
            self.registers.clear()
            self.busy_until_s = self.now_s + SOFT_RESET_S
        elif code == DEEP_SLEEP:
            self.is_asleep = data != b"\x00"
        elif code == ACTIVATE:
            self._refresh()
        else:
            self._set(code, data)

    def _refuse_out_of_turn(self, code: int) -> None:
        if self.is_asleep:
            raise Refused(f"command {code:02X} while asleep: only a reset wakes the controller")
        if self.is_busy:
            raise Refused(f"command {code:02X} while busy")
        if code not in DATA_BYTES and code not in (WRITE_PICTURE, WRITE_SECOND):
            raise Refused(f"command {code:02X} is not known")

    def _set(self, code: int, data: bytes) -> None:
        most_sources, most_gates = self.model.ram
        if code == WINDOW_X and not data[0] <= data[1] < (most_sources + 7) // 8:
            raise Refused(f"window from byte {data[0]} to {data[1]} of a row")
        if code == WINDOW_Y and not _word(data[:2]) <= _word(data[2:]) < most_gates:
            raise Refused(f"window from gate {_word(data[:2])} to {_word(data[2:])}")
        if code == DATA_ENTRY and data[0] != X_AND_Y_GROW:
            raise Refused(f"data entry {data[0]:02X} is not simulated")
        self.registers[code] = data

    def _fill(self, code: int, data: bytes) -> None:
        """RAM data from the window's first byte on."""
        for needed in (DATA_ENTRY, WINDOW_X, WINDOW_Y, ADDRESS_X, ADDRESS_Y):
            if needed not in self.registers:
                raise Refused(f"RAM data before register {needed:02X} is set")
        left, right = self.registers[WINDOW_X]
        top, bottom = _word(self.registers[WINDOW_Y][:2]), _word(self.registers[WINDOW_Y][2:])
        if self.registers[ADDRESS_X][0] != left or _word(self.registers[ADDRESS_Y]) != top:
            raise Refused("the address counter does not stand at the window's first byte")
        room = (right - left + 1) * (bottom - top + 1)
        if len(data) != room:
            raise Refused(f"{len(data)} bytes for a window of {room}")
        if (left, right + 1, top, bottom + 1) != (0, self.model.row_bytes, 0, self.model.gates):
            raise Refused("the window does not cover this glass")
        self.rams[code] = data

    def _refresh(self) -> None:
        missing = [f"{code:02X}" for code in NEEDED if code not in self.registers]
        if missing:
            raise Refused(f"refresh before register {', '.join(missing)} is set")
        if WRITE_PICTURE not in self.rams or WRITE_SECOND not in self.rams:
            raise Refused("refresh before both RAMs are written")
        if _word(self.registers[DRIVER_OUTPUT][:2]) != self.model.gates - 1:
            raise Refused("refresh with the wrong number of gate lines")
        sequence = self.registers[UPDATE_CONTROL_2][0]
        if sequence == FULL_SEQUENCE:
            self._drive_all()
        elif sequence == PARTIAL_SEQUENCE:
            self._drive_changes()
        else:
            raise Refused(f"update sequence {sequence:02X} is not simulated")

    def _drive_all(self) -> None:
        inks = self.plane(WRITE_PICTURE).point([BLACK] + [WHITE] * 255)
        has_colour = not self.registers[UPDATE_CONTROL_1][0] & SECOND_RAM_AS_ZERO
        if has_colour:
            inks.paste(ACCENT, mask=self.plane(WRITE_SECOND))
        self.glass = inks
        self.busy_until_s = self.now_s + (COLOUR_S if has_colour else FULL_S)
        self.refreshes.append((self.now_s, Refresh.FULL))

    def _drive_changes(self) -> None:
        if self.registers[UPDATE_CONTROL_1][0] & SECOND_RAM_AS_ZERO:
            raise Refused("mode 2 compares the RAMs, but the second one is not read")
        new, old = self.plane(WRITE_PICTURE), self.plane(WRITE_SECOND)
        inks = new.point([BLACK] + [WHITE] * 255)
        self.glass.paste(inks, mask=ImageChops.difference(new, old))
        self.busy_until_s = self.now_s + PARTIAL_S
        self.refreshes.append((self.now_s, Refresh.PARTIAL))

    def plane(self, code: int) -> Image.Image:
        """One RAM as a picture in the controller's own orientation, mode ``L``, 255 for a bit 1."""
        size = (self.model.sources, self.model.gates)
        return Image.frombytes("1", size, self.rams[code]).convert("L")

    def picture(self) -> Image.Image:
        """What an eye sees: the glass the way the picture lies, mode ``P``."""
        turned = self.glass.rotate(-90 if self.model.is_turned else 0, expand=True)
        seen = Image.frombytes("P", turned.size, turned.tobytes())
        seen.putpalette(PALETTE)
        return seen


class SimulatedBus:
    """Wires to a simulated controller; waiting moves its clock and takes no time."""

    def __init__(self, controller: Controller) -> None:
        self.controller = controller
        self.is_closed = False

    def reset(self) -> None:
        self.controller.reset()

    def command(self, code: int, data: bytes = b"") -> None:
        self.controller.command(code, data)

    def wait_until_ready(self, timeout_s: float) -> None:
        controller = self.controller
        left_s = controller.busy_until_s - controller.now_s
        if controller.hangs or left_s > timeout_s:
            controller.pass_time(timeout_s)
            raise GlassError(
                f"the display has been busy for {timeout_s:.0f} s: check its BUSY wire and supply"
            )
        controller.pass_time(max(0.0, left_s))

    def close(self) -> None:
        self.is_closed = True


class SimulatedGlass(Ssd16Glass):
    """The real driver on a simulated controller; with ``png`` it keeps the glass in a file for a viewer."""

    def __init__(
        self,
        size: tuple[int, int],
        has_accent: bool = False,
        is_upside_down: bool = False,
        png: Path | None = None,
    ) -> None:
        self.controller = Controller(MODELS[size])
        self._png = png
        super().__init__(SimulatedBus(self.controller), MODELS[size], has_accent, is_upside_down)

    def show(self, picture: Image.Image, refresh: Refresh) -> None:
        super().show(picture, refresh)
        if self._png is not None:
            self.controller.picture().save(self._png)


def _word(data: bytes) -> int:
    return data[0] | data[1] << 8
