"""The only file that touches pins: display, lamps, buzzer and button on gpiozero and spidev.

Both libraries are imported when something is opened, never before: the rest of Sentinel runs without them.
Each opener takes gpiozero's pin factory, so that tests run on its mock, and raises RunError (GlassError for
the display) with one sentence that says what to mend.
"""

import time
from collections.abc import Callable, Sequence
from typing import Any, Protocol

from sentinel.errors import RunError
from sentinel.panel.buzzer import BEEP_S, BEEPS, PAUSE_S
from sentinel.panel.glass import GlassError
from sentinel.panel.pins import DISPLAY, DisplayPins

SPI_HZ = 4_000_000  # the SSD1680's data sheet allows 20 MHz for writing; jumper wires do not
RESET_S = 0.010  # the vendors' reset pulse
POLL_S = 0.010
INSTALL = "install python3-lgpio and python3-spidev, or the extra 'pi' of this package"


class Spi(Protocol):
    """What is used of a ``spidev.SpiDev``."""

    max_speed_hz: int
    mode: int

    def open(self, bus: int, device: int) -> None: ...

    def writebytes2(self, data: bytes) -> None: ...

    def close(self) -> None: ...


class SpiBus:
    """The display's wires; satisfies ``sentinel.panel.glass.Bus``. Made by ``open_spi_bus``."""

    def __init__(
        self,
        spi: Spi,
        data_command: Any,
        reset: Any,
        busy: Any,
        clock: Callable[[], float],
        sleep: Callable[[float], None],
    ) -> None:
        self._spi, self._data_command, self._reset, self._busy = spi, data_command, reset, busy
        self._clock, self._sleep = clock, sleep

    def reset(self) -> None:
        """Low for the vendors' pulse; the controller's own start is waited for on the busy line."""
        self._reset.off()
        self._sleep(RESET_S)
        self._reset.on()
        self._sleep(RESET_S)

    def command(self, code: int, data: bytes = b"") -> None:
        try:
            self._data_command.off()
            self._spi.writebytes2(bytes([code]))
            if data:
                self._data_command.on()
                self._spi.writebytes2(data)
        except OSError as error:
            raise GlassError(f"the display's SPI port failed: {error}") from error

    def wait_until_ready(self, timeout_s: float) -> None:
        deadline_s = self._clock() + timeout_s
        while self._busy.value:
            if self._clock() >= deadline_s:
                raise GlassError(
                    f"the display has been busy for {timeout_s:.0f} s: check its BUSY wire and supply"
                )
            self._sleep(POLL_S)

    def close(self) -> None:
        for device in (self._spi, self._data_command, self._reset, self._busy):
            device.close()


def open_spi_bus(
    pins: DisplayPins = DISPLAY,
    factory: Any = None,
    spi: Spi | None = None,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> SpiBus:
    """Open the display's wires: SPI mode 0, DC and RST as outputs, BUSY as input."""
    opened: list[Any] = []
    try:
        spi = spi or _spidev().SpiDev()
        spi.open(pins.spi_bus, pins.spi_device)
        opened.append(spi)
        spi.max_speed_hz, spi.mode = SPI_HZ, 0
        zero = _gpiozero()
        opened.append(data_command := zero.OutputDevice(pins.data_command, pin_factory=factory))
        opened.append(reset := zero.OutputDevice(pins.reset, initial_value=True, pin_factory=factory))
        opened.append(busy := zero.InputDevice(pins.busy, pin_factory=factory))
        return SpiBus(spi, data_command, reset, busy, clock, sleep)
    except OSError as error:
        _close(opened)
        port = f"/dev/spidev{pins.spi_bus}.{pins.spi_device}"
        raise GlassError(f"cannot open {port} ({error.strerror}): enable SPI with dtparam=spi=on") from error
    except RunError as error:
        _close(opened)
        raise GlassError(f"the display {error}") from error
    except _pin_errors() as error:
        _close(opened)
        raise GlassError(f"the display cannot use its pins: {error}") from error


class PinLamps:
    """One PWM output a lamp; satisfies ``sentinel.panel.lamps.LampRow``. Made by ``open_lamps``."""

    def __init__(self, leds: Sequence[Any]) -> None:
        self._leds = leds

    def set(self, levels: Sequence[float]) -> None:
        for led, level in zip(self._leds, levels, strict=True):
            if led.value != level:
                led.value = level

    def close(self) -> None:
        _close(self._leds)


def open_lamps(pins: Sequence[int], is_active_high: bool = True, factory: Any = None) -> PinLamps:
    """Open a pin a lamp. ``is_active_high`` False: lamps between the supply and the pins (common anode)."""
    zero = _gpiozero()
    leds: list[Any] = []
    try:
        for pin in pins:
            leds.append(zero.PWMLED(pin, active_high=is_active_high, pin_factory=factory))
    except _pin_errors() as error:
        _close(leds)
        raise RunError(f"the lamps cannot use GPIO {pins[len(leds)]}: {error}") from error
    return PinLamps(leds)


class PinBuzzer:
    """A buzzer behind a transistor. Made by ``open_buzzer``."""

    def __init__(self, buzzer: Any) -> None:
        self._buzzer = buzzer

    def sound(self) -> None:
        """Two short beeps, in the background."""
        self._buzzer.beep(BEEP_S, PAUSE_S, BEEPS)

    def close(self) -> None:
        self._buzzer.close()


def open_buzzer(pin: int, factory: Any = None) -> PinBuzzer:
    """Open the buzzer's pin, silent."""
    try:
        return PinBuzzer(_gpiozero().Buzzer(pin, pin_factory=factory))
    except _pin_errors() as error:
        raise RunError(f"the buzzer cannot use GPIO {pin}: {error}") from error


class PinButton:
    """A button to ground. Made by ``open_button``."""

    def __init__(self, button: Any) -> None:
        self._button = button

    @property
    def is_pressed(self) -> bool:
        return bool(self._button.value)

    def listen(self, report: Callable[[bool], None]) -> None:
        """Call ``report`` at every change of level, from the pins' own thread."""
        self._button.when_activated = lambda: report(True)
        self._button.when_deactivated = lambda: report(False)

    def close(self) -> None:
        self._button.close()


def open_button(pin: int, factory: Any = None) -> PinButton:
    """Open the button's pin with its pull-up; bounce is left to the classifier, which can be tested."""
    try:
        return PinButton(_gpiozero().DigitalInputDevice(pin, pull_up=True, pin_factory=factory))
    except _pin_errors() as error:
        raise RunError(f"the button cannot use GPIO {pin}: {error}") from error


def _close(devices: Sequence[Any]) -> None:
    for device in devices:
        device.close()


def _gpiozero() -> Any:
    try:
        import gpiozero
    except ImportError as error:
        raise RunError(f"needs gpiozero: {INSTALL}") from error
    return gpiozero


def _spidev() -> Any:
    try:
        import spidev
    except ImportError as error:
        raise RunError(f"needs spidev: {INSTALL}") from error
    return spidev


def _pin_errors() -> type[Exception]:
    """What gpiozero raises, looked up only once it is there."""
    base: type[Exception] = _gpiozero().GPIOZeroError
    return base
