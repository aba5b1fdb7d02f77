"""Reads pins.toml, the single source of the pin map, and knows the places on the 40-pin header."""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent

# Place on the header of each GPIO (Raspberry Pi documentation, GPIO and the 40-pin header).
HEADER_PIN = {
    0: 27, 1: 28, 2: 3, 3: 5, 4: 7, 5: 29, 6: 31, 7: 26, 8: 24, 9: 21, 10: 19, 11: 23, 12: 32, 13: 33, 14: 8,
    15: 10, 16: 36, 17: 11, 18: 12, 19: 35, 20: 38, 21: 40, 22: 15, 23: 16, 24: 18, 25: 22, 26: 37, 27: 13,
}  # fmt: skip
POWER_PIN = {1: "3V3", 17: "3V3", 2: "5V", 4: "5V", **dict.fromkeys((6, 9, 14, 20, 25, 30, 34, 39), "GND")}


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire: the GPIO it comes from (None for a supply), its place on the header, and what it is for."""

    group: str
    role: str
    gpio: int | None
    header_pin: int

    @property
    def source(self) -> str:
        return POWER_PIN[self.header_pin] if self.gpio is None else f"GPIO {self.gpio}"


def read() -> dict[str, Any]:
    return tomllib.loads((HERE / "pins.toml").read_text("utf-8"))


def wires(pins: dict[str, Any]) -> list[Wire]:
    """Every wire of the largest build, group by group, in the order in which one would solder them."""
    display, lamps = pins["display"], pins["lamps"]
    select = {0: 8, 1: 7}[display["spi_device"]]
    rows = [
        ("display", "VCC, 3.3 V", None, 1), ("display", "GND", None, 6), ("display", "DIN (MOSI)", 10, None),
        ("display", "CLK (SCLK)", 11, None), ("display", "CS", select, None),
        ("display", "DC", display["data_command"], None), ("display", "RST", display["reset"], None),
        ("display", "BUSY", display["busy"], None),
        ("button", "one side", pins["button"]["press"], None), ("button", "other side", None, 39),
        ("buzzer", "base, 2.2 kΩ", pins["buzzer"]["sound"], None), ("buzzer", "emitter", None, 14),
        ("buzzer", "+ of the buzzer", None, 4),
    ]  # fmt: skip
    rows += [("lamps", f"lamp {n}", gpio, None) for n, gpio in enumerate(lamps["bar"], 1)]
    rows.append(("lamps", "all cathodes", None, 34))
    return [
        Wire(group, role, gpio, pin if gpio is None else HEADER_PIN[gpio]) for group, role, gpio, pin in rows
    ]


def worst_current_ma(load: dict[str, Any], supply_v: float) -> float:
    """The most that a load can draw from its pin: the full supply over its least voltage and its resistor."""
    return float(1000.0 * (supply_v - load["least_forward_v"]) / load["resistor_ohm"])


def pins_module(pins: dict[str, Any]) -> str:
    """The text of sentinel/panel/pins.py."""
    display = pins["display"]
    fields = "\n".join(f"    {name}: int = {value}" for name, value in display.items())
    lamps = "\n".join(f'    "{name}": {tuple(value)!r},' for name, value in pins["lamps"].items())
    return f'''"""The default pins, made from hw/pins.toml by hw/make_drawings.py: change them there.

GPIO numbers (BCM). A configuration may name others.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DisplayPins:
    """The display's SPI port and its three lines."""

{fields}


DISPLAY = DisplayPins()
BUTTON = {pins["button"]["press"]}
BUZZER = {pins["buzzer"]["sound"]}
LAMPS = {{
{lamps}
}}
'''


def pin_table(pins: dict[str, Any]) -> str:
    """The pin map as a Markdown table."""
    rows = [f"| {w.group} | {w.role} | {w.source} | {w.header_pin} |" for w in wires(pins)]
    return "\n".join(["| part | wire | from | header pin |", "|---|---|---|---|", *rows])


def current_table(pins: dict[str, Any]) -> str:
    """The loads and the most that each can draw, as a Markdown table."""
    supply_v = pins["limits"]["supply_v"]
    rows = [
        f"| {load['part']} | {load['resistor_ohm']} Ω | {load['least_forward_v']} V "
        f"| {worst_current_ma(load, supply_v):.1f} mA |"
        for load in pins["load"]
    ]
    head = ["| load | resistor | least voltage of the part | most current |", "|---|---|---|---|"]
    return "\n".join([*head, *rows])
