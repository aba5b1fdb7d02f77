"""Statistics of bearings: what "mean" and "spread" are on a circle.

Bearings are in degrees, 0 true north, 90 east; results lie in [0, 360). Any finite angle is accepted.
Sums are exact (``math.fsum``), so the order of the stations never shows in the result.
"""

import math
from collections.abc import Iterable, Sequence

# Below this mean resultant length no direction is preferred: what is left is rounding.
NO_DIRECTION = 1e-9
# The circular standard deviation grows without limit as directions even out; a half turn says "all round".
WIDEST_SPREAD_DEG = 180.0


def wrap_360(angle_deg: float) -> float:
    """The same direction in [0, 360); ValueError unless the angle is finite."""
    if not math.isfinite(angle_deg):
        raise ValueError(f"an angle must be finite, not {angle_deg}")
    wrapped = angle_deg % 360.0
    return 0.0 if wrapped == 360.0 else wrapped  # -1e-20 % 360 rounds to 360


def signed_difference_deg(from_deg: float, to_deg: float) -> float:
    """The shortest turn from one bearing to another, in (-180, 180]; positive is clockwise."""
    turn = wrap_360(wrap_360(to_deg) - wrap_360(from_deg))
    return turn - 360.0 if turn > 180.0 else turn


def angle_between_deg(a_deg: float, b_deg: float) -> float:
    """The angle between two bearings, in [0, 180]."""
    return abs(signed_difference_deg(a_deg, b_deg))


def circular_mean_deg(bearings_deg: Iterable[float], weights: Sequence[float] | None = None) -> float:
    """The direction of the weighted vector sum, in [0, 360).

    One distinct bearing is its own mean, exactly. Where the vectors cancel (north and south, equally heavy)
    no mean exists; the heaviest bearing stands for it, of equally heavy ones the lowest.
    Raises ValueError for no bearings, or weights that are negative, not finite, all zero or too few.
    """
    return _mean(_weighted(bearings_deg, weights))


def circular_std_deg(bearings_deg: Iterable[float], weights: Sequence[float] | None = None) -> float:
    """The weighted circular standard deviation sqrt(-2 ln R), in [0, 180] degrees; 0 for one bearing.

    R is the mean resultant length (Mardia and Jupp, Directional Statistics, from memory). It is computed from
    the deviations from the mean, so that narrow bundles keep their precision. Errors as for the mean.
    """
    pairs = _weighted(bearings_deg, weights)
    mean = _mean(pairs)
    total = math.fsum(weight for _, weight in pairs)
    halves = ((math.radians(signed_difference_deg(mean, bearing)) / 2.0, weight) for bearing, weight in pairs)
    one_minus_r = math.fsum(2.0 * weight * math.sin(half) ** 2 for half, weight in halves) / total
    if one_minus_r >= 1.0:
        return WIDEST_SPREAD_DEG
    return min(WIDEST_SPREAD_DEG, math.degrees(math.sqrt(-2.0 * math.log1p(-one_minus_r))))


def _weighted(bearings_deg: Iterable[float], weights: Sequence[float] | None) -> list[tuple[float, float]]:
    """The bearings that weigh anything, in [0, 360), with weights scaled to a largest of 1."""
    bearings = [wrap_360(bearing) for bearing in bearings_deg]
    if not bearings:
        raise ValueError("no bearings: a mean direction needs at least one")
    if weights is None:
        return [(bearing, 1.0) for bearing in bearings]
    if len(weights) != len(bearings):
        raise ValueError(f"{len(bearings)} bearings need as many weights, not {len(weights)}")
    if not all(math.isfinite(weight) and weight >= 0.0 for weight in weights):
        raise ValueError("weights must be finite and not negative")
    heaviest = max(weights)
    if heaviest == 0.0:
        raise ValueError("all weights are zero: no bearing counts")
    return [(b, w / heaviest) for b, w in zip(bearings, weights, strict=True) if w > 0.0]


def _mean(pairs: list[tuple[float, float]]) -> float:
    if len({bearing for bearing, _ in pairs}) == 1:
        return pairs[0][0]
    north = math.fsum(weight * math.cos(math.radians(bearing)) for bearing, weight in pairs)
    east = math.fsum(weight * math.sin(math.radians(bearing)) for bearing, weight in pairs)
    if math.hypot(north, east) < NO_DIRECTION * math.fsum(weight for _, weight in pairs):
        return min(pairs, key=lambda pair: (-pair[1], pair[0]))[0]
    return wrap_360(math.degrees(math.atan2(east, north)))
