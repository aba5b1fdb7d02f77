"""Makes everything that comes from pins.toml and from the panel's own code anew.

    python hw/make_drawings.py

wiring.svg, a faceplate for each display, the tables in README.md, sentinel/panel/pins.py, and the pictures
pictures/*.png. tests/test_hw.py fails while any of them (but the pictures, which hang on the version of the
font renderer) is not what this script makes.
"""

import re
import sys
from pathlib import Path
from typing import Any

from faceplate import GLASSES, faceplate_svg
from pinmap import HERE, current_table, pin_table, pins_module, read
from wiring import wiring_svg

ROOT = HERE.parent
MARKED = re.compile(r"(<!-- made: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)


def rhythm_table() -> str:
    """What the lamps do, from the table that they are driven by."""
    from sentinel.panel.lamps import COLOURS, RHYTHMS, Arrangement, places

    def lit(place: tuple[float, ...]) -> str:
        return "".join("●" if share else "○" for share in place)

    rows = []
    for state, rhythm in RHYTHMS.items():
        beats = " ".join(f"{seconds:g} s {'on' if is_lit else 'off'}," for seconds, is_lit in rhythm)
        colour = "#" + "".join(f"{round(255 * share):02x}" for share in COLOURS[state])
        three, bar = lit(places(state, Arrangement.THREE, 3)), lit(places(state, Arrangement.BAR, 8))
        rows.append(f"| {state.value} | {beats.rstrip(',')} | {three} | {bar} | {colour} |")
    head = ["| state | rhythm, repeated | of three | of a bar of eight | RGB |", "|---|---|---|---|---|"]
    return "\n".join([*head, *rows])


def readme(before: str, pins: dict[str, Any]) -> str:
    """The README with its marked tables made anew."""
    tables = {"pins": pin_table, "currents": current_table, "rhythms": lambda _pins: rhythm_table()}
    return MARKED.sub(lambda m: f"{m[1]}{tables[m[2]](pins)}\n{m[3]}", before)


def texts() -> dict[Path, str]:
    """Every generated text by its file."""
    pins = read()
    made = {
        ROOT / "sentinel" / "panel" / "pins.py": pins_module(pins),
        HERE / "wiring.svg": wiring_svg(pins),
        HERE / "README.md": readme((HERE / "README.md").read_text("utf-8"), pins),
    }
    for glass in GLASSES:
        width, height = glass.pixels
        made[HERE / f"faceplate-{width}x{height}.svg"] = faceplate_svg(glass)
    return made


def pictures() -> None:
    """The contact sheets for the README."""
    from sentinel.panel.samples import contact_sheet

    folder = HERE / "pictures"
    folder.mkdir(exist_ok=True)
    contact_sheet().save(folder / "contact-sheet-250x122.png", optimize=True)
    contact_sheet((400, 300)).save(folder / "contact-sheet-400x300.png", optimize=True)


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    for file, text in texts().items():
        file.write_text(text, "utf-8")
    pictures()
