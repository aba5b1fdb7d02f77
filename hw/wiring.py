"""Draws the wiring: the header with its used places coloured, and every wire with its parts."""

from typing import Any

import svg
from pinmap import HEADER_PIN, POWER_PIN, Wire, wires

WIDTH, HEIGHT = 190.0, 226.0
COLOURS = {
    "display": "#0072b2",
    "button": "#d55e00",
    "buzzer": "#cc79a7",
    "lamps": "#009e73",
}  # Okabe and Ito
TITLES = {
    "display": "E-paper module (3.3 V)",
    "button": "Button, to ground",
    "buzzer": "Buzzer (optional), behind a transistor",
    "lamps": "Lamps: one, three or up to eight",
}
NOTES = {
    "button": "1 kilohm in series protects the pin; its own pull-up is used.",
    "buzzer": "Collector to - of the buzzer; a diode across the buzzer, its bar at +.",
    "lamps": "R: 470 ohm for red, orange, yellow; 330 ohm for white, blue, green.",
}
PITCH = 6.6
HEADER_X, HEADER_Y = 32.0, 34.0
BLOCK_X = 84.0


def wiring_svg(pins: dict[str, Any]) -> str:
    every = wires(pins)
    parts = [
        svg.rect(0, 0, WIDTH, HEIGHT, fill="#fff", stroke="none"),
        svg.text(8, 11, "Sentinel: wiring", 6, weight="bold"),
        svg.text(
            8, 18, "Generated from pins.toml. All logic is 3.3 V. Connect with the supply unplugged.", 3.2
        ),
        *_header(every),
    ]
    y = HEADER_Y - 7
    for group in COLOURS:
        block, height = _block(group, [wire for wire in every if wire.group == group], y)
        parts += block
        y += height + 5
    return svg.drawing(WIDTH, HEIGHT, "Wiring of the Sentinel panel", parts)


def _header(every: list[Wire]) -> list[str]:
    """The 40 places, pin 1 top left, as seen from above with the header at the right edge of the board."""
    used = {wire.header_pin: COLOURS[wire.group] for wire in every}
    gpio_at = {pin: gpio for gpio, pin in HEADER_PIN.items()}
    parts = [
        svg.rect(HEADER_X - 4, HEADER_Y - 5, 16.6, 20 * PITCH + 3.4, fill="#eee", round_=1),
        svg.text(HEADER_X + 4.3, HEADER_Y - 8, "40-pin header, pin 1 at the top left", 2.8, "middle"),
    ]
    for pin in range(1, 41):
        is_odd = pin % 2 == 1
        x, y = HEADER_X + (0 if is_odd else 8.6), HEADER_Y + (pin - 1) // 2 * PITCH
        name = POWER_PIN.get(pin) or f"GPIO {gpio_at[pin]}"
        parts.append(svg.circle(x, y, 2.6, fill=used.get(pin, "#fff")))
        parts.append(svg.text(x, y + 1, str(pin), 2.6, "middle", colour="#fff" if pin in used else "#555"))
        at, anchor = (x - 6, "end") if is_odd else (x + 6, "start")
        weight = "bold" if pin in used else "normal"
        parts.append(svg.text(at, y + 1, name, 2.8, anchor, weight, used.get(pin, "#777")))
    return parts


def _block(group: str, rows: list[Wire], top: float) -> tuple[list[str], float]:
    """One part with its wires, each with its source at the left and its way to the part."""
    colour, pitch = COLOURS[group], 5.6
    height = 9 + pitch * (len(rows) + (group in NOTES))
    parts = [
        svg.rect(BLOCK_X, top, WIDTH - BLOCK_X - 8, height, round_=1.5),
        svg.text(BLOCK_X + 3, top + 5, TITLES[group], 3.4, weight="bold", colour=colour),
    ]
    for row, wire in enumerate(rows):
        y = top + 10 + row * pitch
        parts += [
            svg.circle(BLOCK_X + 5, y, 2.2, fill=colour),
            svg.text(BLOCK_X + 5, y + 0.9, str(wire.header_pin), 2.3, "middle", colour="#fff"),
            svg.text(BLOCK_X + 9, y + 1, wire.source, 2.8),
            svg.line(BLOCK_X + 24, y, BLOCK_X + 40, y, colour, 0.6),
            *_way(wire, y, colour),
        ]
    if group in NOTES:
        parts.append(svg.text(BLOCK_X + 3, top + height - 2.6, NOTES[group], 2.6, colour="#444"))
    return parts, height


def _way(wire: Wire, y: float, colour: str) -> list[str]:
    """What a wire meets: a resistor and an LED, a switch contact, or the part's own terminal."""
    x = BLOCK_X + 40
    if wire.group == "lamps" and wire.gpio is not None:
        return [
            svg.rect(x, y - 1.3, 9, 2.6, fill="#fff"),
            svg.text(x + 4.5, y + 0.9, "R", 2.4, "middle"),
            svg.line(x + 9, y, x + 16, y, colour, 0.6),
            f'<path d="M{svg.number(x + 16)} {svg.number(y - 1.6)} v3.2 l3.4 -1.6 z" fill="{colour}"/>',
            svg.line(x + 19.6, y - 1.6, x + 19.6, y + 1.6, colour, 0.6),
            svg.line(x + 19.6, y, x + 26, y, colour, 0.6),
            svg.text(x + 28, y + 1, f"{wire.role}, to ground", 2.8),
        ]
    return [svg.circle(x + 0.9, y, 0.9, fill="#fff"), svg.text(x + 4, y + 1, wire.role, 2.8)]
