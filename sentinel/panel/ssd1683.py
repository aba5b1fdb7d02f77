"""The driver of SSD1683-class controllers: 4.2 inch (400x300) glass.

The command set is the SSD1680's as far as it is used here; the RAM is larger (400 sources, 300 gates), the
glass lies the way the picture does, and every source pin is bonded (Solomon Systech, SSD1683 data sheet; from
memory of it).
"""

from sentinel.panel.glass import Bus
from sentinel.panel.ssd1680 import INCH_2_9, INCH_2_13, Model, Ssd16Glass

INCH_4_2 = Model("SSD1683", (400, 300), is_turned=False, source_outputs=0x00, ram=(400, 300))
MODELS = {model.size: model for model in (INCH_2_13, INCH_2_9, INCH_4_2)}


def glass_on(
    bus: Bus, size: tuple[int, int], has_accent: bool = False, is_upside_down: bool = False
) -> Ssd16Glass:
    """The driver for glass of a size on a bus. Raises ValueError for a size without a model."""
    if size not in MODELS:
        known = ", ".join(f"{width}x{height}" for width, height in MODELS)
        raise ValueError(f"no display of {size[0]}x{size[1]} pixels is known; there is {known}")
    return Ssd16Glass(bus, MODELS[size], has_accent, is_upside_down)
