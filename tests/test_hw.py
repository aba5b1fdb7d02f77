"""The hardware folder: one pin map, no conflict, no overloaded pin, and drawings that say the same."""

import re
import sys
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from gpiozero import PiBoardInfo

from sentinel.panel import pins as package_pins
from sentinel.panel.lamps import MOST_LAMPS, Arrangement
from sentinel.panel.picture import SIZES

HW = Path(__file__).parents[1] / "hw"
sys.path.insert(0, str(HW))

import faceplate  # noqa: E402
import make_drawings  # noqa: E402
import pinmap  # noqa: E402

PINS = pinmap.read()
SVG = "{http://www.w3.org/2000/svg}"


def pin_at(path: str) -> list[int]:
    """The pins that a dotted path of pins.toml names."""
    value: Any = PINS
    for key in path.split("."):
        value = value[int(key)] if key.isdigit() else value[key]
    return value if isinstance(value, list) else [value]


OTHER_USES = {
    "display.data_command": pin_at("display.data_command"),
    "display.reset": pin_at("display.reset"),
    "display.busy": pin_at("display.busy"),
    "button": pin_at("button.press"),
    "buzzer": pin_at("buzzer.sound"),
}


@pytest.mark.parametrize("arrangement", Arrangement)
def test_no_pin_has_two_uses(arrangement: Arrangement) -> None:
    uses = {**OTHER_USES, "lamps": pin_at(f"lamps.{arrangement.value}")}
    for (one, mine), (other, theirs) in combinations(uses.items(), 2):
        assert not set(mine) & set(theirs), f"{one} and {other} share a pin"
    lamps = uses["lamps"]
    assert len(set(lamps)) == len(lamps) <= MOST_LAMPS


def test_no_pin_is_one_of_a_bus_of_the_header() -> None:
    reserved = {gpio for gpios in PINS["reserved"].values() for gpio in gpios}
    used = {gpio for gpios in OTHER_USES.values() for gpio in gpios} | set(pin_at("lamps.bar"))
    assert not used & reserved
    assert used <= set(range(28))


# The buses of the header by their places on it (Raspberry Pi documentation, GPIO and the 40-pin header).
BUS_PLACES = {
    "id_eeprom": (27, 28), "i2c1": (3, 5), "spi0": (26, 24, 21, 19, 23), "uart0": (8, 10),
}  # fmt: skip


def header() -> Iterator[tuple[int, str]]:
    """Place and name from gpiozero's own data of the Raspberry Pi 3B."""
    for place, pin in PiBoardInfo.from_revision(0xA02082).headers["J8"].pins.items():
        yield place, pin.name


def test_the_reserved_pins_are_the_headers_buses_by_gpiozeros_data() -> None:
    gpio_at = {place: int(name[4:]) for place, name in header() if name.startswith("GPIO")}
    for bus, places in BUS_PLACES.items():
        assert sorted(PINS["reserved"][bus]) == sorted(gpio_at[place] for place in places)


def test_our_header_is_gpiozeros() -> None:
    ours = {**pinmap.POWER_PIN, **{place: f"GPIO{gpio}" for gpio, place in pinmap.HEADER_PIN.items()}}
    assert ours == dict(header())


def test_lamps_and_buzzer_are_on_pins_that_are_low_at_boot() -> None:
    """GPIO 0 to 8 are pulled up at reset, 9 and above down (BCM2835 ARM peripherals, from memory)."""
    assert min(pin_at("lamps.bar") + pin_at("buzzer.sound")) > 8


def loads_on(pin_path: str) -> list[float]:
    supply_v = PINS["limits"]["supply_v"]
    return [
        pinmap.worst_current_ma(load, supply_v)
        for load in PINS["load"]
        if any(pin_path == on or pin_path.startswith(f"{on}.") for on in load["on"])
    ]


def test_the_limits_are_not_above_the_published_ones() -> None:
    """16 mA a pad, about 3 mA for each of 17 pins: Raspberry Pi documentation, GPIO pads control."""
    assert PINS["limits"]["pin_ma"] <= 16.0
    assert PINS["limits"]["total_ma"] <= 3.0 * 17


@pytest.mark.parametrize("arrangement", Arrangement)
def test_no_build_overloads_a_pin_or_the_supply(arrangement: Arrangement) -> None:
    count = len(pin_at(f"lamps.{arrangement.value}"))
    worst = [max(loads_on(f"lamps.{arrangement.value}.{n}")) for n in range(count)]
    buzzer = loads_on("buzzer.sound")
    assert buzzer and max(worst + buzzer) < PINS["limits"]["pin_ma"]
    assert sum(worst) + max(buzzer) < PINS["limits"]["total_ma"]


def test_a_smaller_resistor_would_be_noticed() -> None:
    bare = {"least_forward_v": 1.6, "resistor_ohm": 100}
    assert pinmap.worst_current_ma(bare, 3.3) == pytest.approx(17.0) and PINS["limits"]["pin_ma"] < 17.0


def test_the_packages_pins_are_those_of_the_map() -> None:
    display = {name: getattr(package_pins.DISPLAY, name) for name in PINS["display"]}
    assert display == PINS["display"]
    assert PINS["button"]["press"] == package_pins.BUTTON
    assert PINS["buzzer"]["sound"] == package_pins.BUZZER
    assert {name: list(gpios) for name, gpios in package_pins.LAMPS.items()} == PINS["lamps"]
    assert set(package_pins.LAMPS) == {arrangement.value for arrangement in Arrangement}


@pytest.mark.parametrize("file", make_drawings.texts(), ids=lambda file: file.name)
def test_what_is_generated_is_what_the_script_makes(file: Path) -> None:
    assert file.read_text("utf-8") == make_drawings.texts()[file], "run python hw/make_drawings.py"


def words_in(file: Path) -> list[str]:
    return [element.text or "" for element in ElementTree.parse(file).iter(f"{SVG}text")]


def test_the_wiring_names_every_wire() -> None:
    words = words_in(HW / "wiring.svg")
    for wire in pinmap.wires(PINS):
        assert wire.source in words and str(wire.header_pin) in words
        assert any(wire.role in word for word in words)


def test_nothing_in_the_wiring_lies_outside_the_sheet() -> None:
    root = ElementTree.parse(HW / "wiring.svg").getroot()
    width, height = (float(root.get(side, "0mm")[:-2]) for side in ("width", "height"))
    for rect in root.iter(f"{SVG}rect"):
        x, y, w, h = (float(rect.get(key, "0")) for key in ("x", "y", "width", "height"))
        assert x >= 0 and y >= 0 and x + w <= width and y + h <= height


GLASSES = pytest.mark.parametrize("glass", faceplate.GLASSES, ids=lambda glass: glass.name)


@GLASSES
def test_a_faceplate_prints_to_scale(glass: faceplate.Glass) -> None:
    """Its user unit is a millimetre, and its window the picture with half a millimetre on each side."""
    width, height = glass.pixels
    root = ElementTree.parse(HW / f"faceplate-{width}x{height}.svg").getroot()
    plate = faceplate.Plate(glass)
    assert root.get("viewBox") == "0 0 " + " ".join(
        re.sub(r"mm$", "", root.get(side, "")) for side in ("width", "height")
    )
    assert float(root.get("width", "")[:-2]) == pytest.approx(plate.size[0], abs=0.01)
    windows = [
        rect for rect in root.iter(f"{SVG}rect")
        if float(rect.get("width", "0")) == pytest.approx(glass.picture[0] + 1.0, abs=0.01)
    ]  # fmt: skip
    assert len(windows) == 1
    assert float(windows[0].get("height", "0")) == pytest.approx(glass.picture[1] + 1.0, abs=0.01)


@GLASSES
def test_pixels_are_square_on_every_glass(glass: faceplate.Glass) -> None:
    pitches = [side / count for side, count in zip(glass.picture, glass.pixels, strict=True)]
    assert pitches[0] == pytest.approx(pitches[1], rel=0.01)


def test_there_is_a_faceplate_for_every_picture() -> None:
    assert {glass.pixels for glass in faceplate.GLASSES} == set(SIZES)


@GLASSES
def test_holes_keep_clear_of_each_other_the_window_and_the_edge(glass: faceplate.Glass) -> None:
    plate = faceplate.Plate(glass)
    width, height = plate.size
    left, top, window_width, window_height = plate.window
    for x, y, diameter, purpose in plate.holes:
        radius = diameter / 2
        assert radius + 1 <= x <= width - radius - 1 and radius + 1 <= y <= height - radius - 1, purpose
        dx = max(left - x, 0.0, x - left - window_width)
        dy = max(top - y, 0.0, y - top - window_height)
        assert (dx * dx + dy * dy) ** 0.5 >= radius + 1.0, f"{purpose} runs into the window"
    for one, other in combinations(plate.holes, 2):
        apart = ((one[0] - other[0]) ** 2 + (one[1] - other[1]) ** 2) ** 0.5
        assert apart >= (one[2] + other[2]) / 2 + 2.0, f"{one[3]} and {other[3]}"


CAUTIONS = {
    "power lines": "power lines", "lightning": "Lightning", "local code": "local code",
    "mains": "certified supply",
    "logic level": "3.3 V logic", "back-powering": "No back-powering", "receive only": "Receive only",
    "shared antenna": "operator is responsible that its power",
}  # fmt: skip


@pytest.mark.parametrize("caution", CAUTIONS)
def test_the_readme_carries_the_caution(caution: str) -> None:
    readme = " ".join((HW / "README.md").read_text("utf-8").split())
    assert CAUTIONS[caution] in readme


def test_the_readmes_links_lead_somewhere() -> None:
    for target in re.findall(r"\]\(([^)]+)\)", (HW / "README.md").read_text("utf-8")):
        assert (HW / target).is_file(), target
