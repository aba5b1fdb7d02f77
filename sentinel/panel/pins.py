"""The default pins, made from hw/pins.toml by hw/make_drawings.py: change them there.

GPIO numbers (BCM). A configuration may name others.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DisplayPins:
    """The display's SPI port and its three lines."""

    spi_bus: int = 0
    spi_device: int = 0
    data_command: int = 25
    reset: int = 17
    busy: int = 24


DISPLAY = DisplayPins()
BUTTON = 26
BUZZER = 27
LAMPS = {
    "one": (12,),
    "three": (12, 16, 20),
    "rgb": (12, 16, 20),
    "bar": (12, 16, 20, 21, 13, 19, 22, 23),
}
