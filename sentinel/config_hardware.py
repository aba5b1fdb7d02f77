"""The tables of the configuration for what hangs on the pins: the panel's glass, lamps, buzzer and button."""

from typing import Literal

from pydantic import Field, model_validator

from sentinel.config_faults import KeyedError
from sentinel.config_types import FilePath, Gpio, HoursOfDay, Section, Share
from sentinel.panel.pins import BUTTON, BUZZER, DISPLAY, LAMPS

MOST_LAMPS = 8
CONTROLLERS = {"250x122": "ssd1680", "296x128": "ssd1680", "400x300": "ssd1683"}
"""Which controller drives glass of a size."""


class PanelPins(Section):
    """Where the e-paper's wires are: the SPI port, and GPIO numbers (BCM)."""

    spi_bus: int = Field(default=DISPLAY.spi_bus, ge=0, le=6)
    spi_device: int = Field(default=DISPLAY.spi_device, ge=0, le=2)
    data_command: Gpio = DISPLAY.data_command
    reset: Gpio = DISPLAY.reset
    busy: Gpio = DISPLAY.busy


class PanelSection(Section):
    """The panel's picture, and the glass that shows it."""

    size: Literal["250x122", "296x128", "400x300"] = "250x122"
    picture: FilePath | None = None
    accent: bool = False
    glass: Literal["none", "simulated", "ssd1680", "ssd1683"] = "none"
    upside_down: bool = False
    farewell: Literal["off", "white"] = "off"
    pins: PanelPins = PanelPins()

    @model_validator(mode="after")
    def _fits(self) -> "PanelSection":
        fitting = CONTROLLERS[self.size]
        if self.glass not in ("none", "simulated", fitting):
            raise KeyedError("glass", f'does not drive size = "{self.size}"; write "{fitting}"')
        return self

    @property
    def size_px(self) -> tuple[int, int]:
        width, _, height = self.size.partition("x")
        return int(width), int(height)


class LampsSection(Section):
    """Lamps and buzzer. Without this table there are none; at night the buzzer is silent."""

    arrangement: Literal["none", "one", "three", "rgb", "bar"] = "one"
    count: int | None = Field(default=None, ge=1, le=MOST_LAMPS)
    pins: tuple[Gpio, ...] | None = Field(default=None, min_length=1, max_length=MOST_LAMPS, strict=False)
    active_high: bool = True
    brightness: Share = 1.0
    night: Literal["none", "sun"] | HoursOfDay = "22:00-07:00"
    night_brightness: Share = 0.2
    buzzer: bool = False
    buzzer_pin: Gpio = BUZZER

    @model_validator(mode="after")
    def _counts(self) -> "LampsSection":
        if self.count is not None and self.arrangement != "bar":
            raise KeyedError("count", 'goes only with arrangement = "bar"; remove it')
        if self.pins is not None and len(self.pins) != (wanted := self._lamps(len(self.pins))):
            raise KeyedError("pins", f'must name {wanted} for arrangement = "{self.arrangement}"')
        if self.pins is not None and len(set(self.pins)) < len(self.pins):
            raise KeyedError("pins", "names a pin twice; give each lamp its own")
        return self

    @property
    def lamp_pins(self) -> tuple[int, ...]:
        """A pin for each lamp."""
        usual = () if self.arrangement == "none" else LAMPS[self.arrangement]
        return self.pins or usual[: self._lamps(len(usual))]

    def _lamps(self, of_bar: int) -> int:
        return {"none": 0, "one": 1, "three": 3, "rgb": 3}.get(self.arrangement, self.count or of_bar)


class ButtonSection(Section):
    """The button. Without this table there is none."""

    pin: Gpio = BUTTON
    shutdown_command: tuple[str, ...] = Field(default=(), max_length=16, strict=False)
