"""The driver of SSD1680-class controllers: 2.13 inch (250x122) and 2.9 inch (296x128) glass.

From the controller's data sheet (Solomon Systech, SSD1680, revision 0.14, 2019: command table and typical
operating sequence; codes from memory of it). In short:

    reset line, 12 soft reset, 01 gate lines, 11 data entry, 44/45 window, 3C border, 18 temperature sensor,
    21 how the two RAMs are read, 4E/4F address, 24 picture, 26 second RAM, 22 what to do, 20 do it, 10 sleep

Update sequence (command 22), bit by bit: 80 clock on, 40 analogue on, 20 read temperature, 10 load waveform,
08 waveform of mode 2, 04 drive the glass, 02 analogue off, 01 clock off. So F7 is a full refresh and FF one
of mode 2, which drives only the pixels that differ between the RAMs: 24 new, 26 old. Both RAMs are written
every time, so nothing hangs on what a sleeping controller remembers.

The glass hangs upright in the controller's eyes: sources run along the picture's short side, gates along its
long side. A bit 1 is white in RAM 24 and coloured in RAM 26.
"""

from dataclasses import dataclass

from PIL import Image

from sentinel.panel.glass import BUSY_TIMEOUT_S, Bus, Refresh
from sentinel.panel.sheet import ACCENT, BLACK, WHITE

DRIVER_OUTPUT, DEEP_SLEEP, DATA_ENTRY, SOFT_RESET = 0x01, 0x10, 0x11, 0x12
TEMPERATURE_SENSOR, ACTIVATE, UPDATE_CONTROL_1, UPDATE_CONTROL_2 = 0x18, 0x20, 0x21, 0x22
WRITE_PICTURE, WRITE_SECOND, BORDER = 0x24, 0x26, 0x3C
WINDOW_X, WINDOW_Y, ADDRESS_X, ADDRESS_Y = 0x44, 0x45, 0x4E, 0x4F

FULL_SEQUENCE, PARTIAL_SEQUENCE = 0xF7, 0xFF
X_AND_Y_GROW = 0x03
INTERNAL_SENSOR = 0x80
BORDER_WHITE, BORDER_FLOATS = 0x05, 0x80  # floating while only parts are driven, or the rim would flash
SECOND_RAM_AS_ZERO = 0x40
SLEEP_AND_KEEP_RAM = 0x01


@dataclass(frozen=True, slots=True)
class Model:
    """One kind of glass: its picture, how that lies in the RAM, and two facts of its controller."""

    controller: str
    size: tuple[int, int]  # the picture, width and height
    is_turned: bool  # the picture's width runs along the gates
    source_outputs: int  # second byte of command 21: which source pins the glass is bonded to
    ram: tuple[int, int]  # most sources and gates

    @property
    def sources(self) -> int:
        return self.size[1] if self.is_turned else self.size[0]

    @property
    def gates(self) -> int:
        return self.size[0] if self.is_turned else self.size[1]

    @property
    def row_bytes(self) -> int:
        """Bytes for one gate line; spare bits at its end have no pixel."""
        return (self.sources + 7) // 8


INCH_2_13 = Model("SSD1680", (250, 122), is_turned=True, source_outputs=0x80, ram=(176, 296))
INCH_2_9 = Model("SSD1680", (296, 128), is_turned=True, source_outputs=0x80, ram=(176, 296))


class Ssd16Glass:
    """Glass on an SSD1680-class controller; satisfies ``sentinel.panel.glass.Glass``.

    ``is_upside_down`` turns the picture by 180 degrees, for glass that is mounted with its cable on the other
    side.
    """

    def __init__(
        self, bus: Bus, model: Model, has_accent: bool = False, is_upside_down: bool = False
    ) -> None:
        self._bus = bus
        self._model = model
        self._has_accent = has_accent
        self._is_upside_down = is_upside_down
        self._shown: bytes | None = None

    @property
    def size(self) -> tuple[int, int]:
        return self._model.size

    @property
    def has_accent(self) -> bool:
        return self._has_accent

    def show(self, picture: Image.Image, refresh: Refresh) -> None:
        """Wake, write both RAMs, refresh, sleep. A partial refresh before any full one becomes a full one."""
        if picture.size != self.size:
            raise ValueError(f"the glass shows {self.size}, the picture has {picture.size}")
        if refresh is Refresh.NONE:
            return
        black, colour = self._planes(picture)
        is_partial = refresh is Refresh.PARTIAL and self._shown is not None and not self._has_accent
        second = self._shown if is_partial and self._shown is not None else colour
        self._shown = None  # unknown until the refresh has ended well
        self._wake(is_partial)
        self._write(WRITE_PICTURE, black)
        self._write(WRITE_SECOND, second)
        self._bus.command(UPDATE_CONTROL_2, bytes([PARTIAL_SEQUENCE if is_partial else FULL_SEQUENCE]))
        self._bus.command(ACTIVATE)
        self._bus.wait_until_ready(BUSY_TIMEOUT_S)
        self._bus.command(DEEP_SLEEP, bytes([SLEEP_AND_KEEP_RAM]))
        self._shown = black

    def clear(self) -> None:
        self.show(Image.new("1", self.size, 1), Refresh.FULL)

    def close(self) -> None:
        self._bus.close()

    def _wake(self, is_partial: bool) -> None:
        """Reset, then every register anew: sleep and power cuts forget them."""
        model, bus = self._model, self._bus
        bus.reset()
        bus.wait_until_ready(BUSY_TIMEOUT_S)
        bus.command(SOFT_RESET)
        bus.wait_until_ready(BUSY_TIMEOUT_S)
        last_gate = model.gates - 1
        bus.command(DRIVER_OUTPUT, bytes([last_gate & 0xFF, last_gate >> 8, 0]))
        bus.command(DATA_ENTRY, bytes([X_AND_Y_GROW]))
        bus.command(WINDOW_X, bytes([0, model.row_bytes - 1]))
        bus.command(WINDOW_Y, bytes([0, 0, last_gate & 0xFF, last_gate >> 8]))
        bus.command(BORDER, bytes([BORDER_FLOATS if is_partial else BORDER_WHITE]))
        bus.command(TEMPERATURE_SENSOR, bytes([INTERNAL_SENSOR]))
        reads_second = is_partial or self._has_accent
        bus.command(
            UPDATE_CONTROL_1, bytes([0 if reads_second else SECOND_RAM_AS_ZERO, model.source_outputs])
        )

    def _write(self, code: int, plane: bytes) -> None:
        self._bus.command(ADDRESS_X, bytes([0]))
        self._bus.command(ADDRESS_Y, bytes([0, 0]))
        self._bus.command(code, plane)

    def _planes(self, picture: Image.Image) -> tuple[bytes, bytes]:
        """The black and the colour plane: 1 is white in the first, coloured in the second."""
        turn = (90 if self._model.is_turned else 0) + (180 if self._is_upside_down else 0)
        inks = as_inks(picture).rotate(turn, expand=True)
        black = inks.point([0 if ink == BLACK else 255 for ink in range(256)], "1")
        colour = inks.point([255 if ink == ACCENT else 0 for ink in range(256)], "1")
        return black.tobytes(), colour.tobytes()


def as_inks(picture: Image.Image) -> Image.Image:
    """A picture of mode ``1`` or ``P`` (see ``sentinel.panel.sheet``) as one byte of ink a pixel."""
    if picture.mode == "P":
        return Image.frombytes("L", picture.size, picture.tobytes())
    return picture.convert("L").point([BLACK if grey < 128 else WHITE for grey in range(256)])
