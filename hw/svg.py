"""A few SVG elements as text, and nothing more: the drawings are lists of these."""

from collections.abc import Iterable
from html import escape

FONT = "DejaVu Sans, Helvetica, Arial, sans-serif"


def number(value: float) -> str:
    """Two decimals at most, no trailing zeros: the files stay readable and the same everywhere."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def line(x1: float, y1: float, x2: float, y2: float, colour: str = "#000", width: float = 0.4) -> str:
    ends = f'x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}"'
    return f'<line {ends} stroke="{colour}" stroke-width="{number(width)}"/>'


def rect(
    x: float,
    y: float,
    width: float,
    height: float,
    fill: str = "none",
    stroke: str = "#000",
    round_: float = 0,
) -> str:
    box = f'x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"'
    return f'<rect {box} rx="{number(round_)}" fill="{fill}" stroke="{stroke}" stroke-width="0.3"/>'


def circle(x: float, y: float, radius: float, fill: str = "none", stroke: str = "#000") -> str:
    at = f'cx="{number(x)}" cy="{number(y)}" r="{number(radius)}"'
    return f'<circle {at} fill="{fill}" stroke="{stroke}" stroke-width="0.3"/>'


def text(
    x: float,
    y: float,
    words: str,
    size: float = 3,
    anchor: str = "start",
    weight: str = "normal",
    colour: str = "#000",
) -> str:
    at = f'x="{number(x)}" y="{number(y)}" font-size="{number(size)}" text-anchor="{anchor}"'
    return f'<text {at} font-weight="{weight}" fill="{colour}">{escape(words)}</text>'


def drawing(width_mm: float, height_mm: float, title: str, elements: Iterable[str]) -> str:
    """A whole file whose user unit is one millimetre, so that it prints 1:1."""
    size = f'width="{number(width_mm)}mm" height="{number(height_mm)}mm"'
    view = f'viewBox="0 0 {number(width_mm)} {number(height_mm)}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {view} font-family="{FONT}">'
    return "\n".join([head, f"<title>{escape(title)}</title>", *elements, "</svg>", ""])
