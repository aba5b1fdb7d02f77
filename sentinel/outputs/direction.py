"""Directions in words: the sixteen points of the compass, and what an operator types to mean a direction."""

from sentinel.errors import ConfigError

POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
POINT_DEG = 360 / len(POINTS)

HALF_WIDTH_DEG = 22.5
"""Either side of a bearing or one of the eight main points, so that the eight meet: about half the beamwidth
of a small six-metre antenna (common practice, no source)."""


def point_of(bearing_deg: float) -> str:
    """The nearest of the sixteen points."""
    return POINTS[round(bearing_deg / POINT_DEG) % len(POINTS)]


def read_direction(text: str) -> tuple[float, float]:
    """Bearing and half width, degrees, of ``SE``, ``ESE``, ``135`` or ``80-120`` (clockwise: ``350-20`` too).

    The points between the main eight are half as wide; ``0-360`` is the whole circle, ``90-90`` the bearing.
    Raises ConfigError, which names the text.
    """
    point = text.strip().upper()
    if point in POINTS:
        return POINTS.index(point) * POINT_DEG, HALF_WIDTH_DEG if len(point) < 3 else HALF_WIDTH_DEG / 2
    low, dash, high = point.partition("-")
    try:
        low_deg, high_deg = _bearing(low), _bearing(high) if dash else None
    except ValueError:
        raise ConfigError(
            f"direction {text!a} is neither a compass point (SE), a bearing from 0 to 360 (135), "
            "nor two bearings, clockwise (80-120)"
        ) from None
    if high_deg is None or high_deg == low_deg:
        return low_deg % 360, HALF_WIDTH_DEG
    width_deg = (high_deg - low_deg) % 360 / 2 or 180.0
    return (low_deg + width_deg) % 360, width_deg


def _bearing(text: str) -> float:
    bearing_deg = float(text)
    if not 0 <= bearing_deg <= 360:  # also refuses nan
        raise ValueError
    return bearing_deg
