"""How strong a path is, and whether a decoder prints it. All SNR in decibels in 2500 Hz, losses in decibels.

Every mechanism adds its excess loss to that of free space; the rest is one link budget. Points on the Earth
are unit vectors here: a cloud's edge is not known to the 0.5 % that the sphere errs, and midpoints are
needed by the hundred thousand. Truth about stations (distance, bearing) comes from ``sentinel.sky.geodesy``.
"""

import math
import random
from dataclasses import dataclass, field

EARTH_KM = 6371.009  # ITU-R P.533
FREQ_MHZ = 50.313  # where FT8 is worked on six metres (common practice)
# Half of all FT8 signals are decoded at -20.8 dB (Franke, Somerville, Taylor, QEX July/August 2020).
HALF_DECODED_DB = -20.8
# 90 % at about 1.3 dB more: the steepness of the published curves, from memory.
_STEEPNESS_DB = 0.6
# The rest is lost to overlapping signals and late starts, however strong (an assumption).
_UNDISTURBED = 0.985
# Thermal noise in 2500 Hz is -140 dBm; residential man-made noise at 50 MHz adds 25.4 dB (ITU-R P.372, from
# memory: 72.5 - 27.7 log f).
NOISE_DBM = -114.6
# The home antenna, averaged over the headings of an evening: a small yagi that is seldom turned.
HOME_GAIN_DBI = 3.0
# What decoders print at most: strong signals spread into their own noise estimate.
LOUDEST_DB = 24.0

Vector = tuple[float, float, float]


def unit_vector(lat_deg: float, lon_deg: float) -> Vector:
    """The place as a unit vector from the Earth's centre."""
    lat, lon = math.radians(lat_deg), math.radians(lon_deg)
    return math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)


def place_of(point: Vector) -> tuple[float, float]:
    """Latitude and longitude, degrees, of a vector of any length but 0."""
    x, y, z = point
    return math.degrees(math.atan2(z, math.hypot(x, y))), math.degrees(math.atan2(y, x))


def arc_km(a: Vector, b: Vector) -> float:
    """Great-circle distance; the chord keeps short distances precise."""
    chord = math.dist(a, b)
    return 2.0 * EARTH_KM * math.asin(min(1.0, chord / 2.0))


def between(a: Vector, b: Vector, fraction: float) -> Vector:
    """The point at ``fraction`` of the way from a to b along the great circle."""
    angle = arc_km(a, b) / EARTH_KM
    if angle < 1e-9:
        return a
    wa, wb = math.sin((1.0 - fraction) * angle), math.sin(fraction * angle)
    scale = 1.0 / math.sin(angle)
    return (
        (a[0] * wa + b[0] * wb) * scale,
        (a[1] * wa + b[1] * wb) * scale,
        (a[2] * wa + b[2] * wb) * scale,
    )


def moved(point: Vector, bearing_deg: float, distance_km: float) -> Vector:
    """The point ``distance_km`` away along ``bearing_deg`` (0 north, 90 east)."""
    lat, lon = (math.radians(angle) for angle in place_of(point))
    arc, bearing = distance_km / EARTH_KM, math.radians(bearing_deg)
    sin_lat = math.sin(lat) * math.cos(arc) + math.cos(lat) * math.sin(arc) * math.cos(bearing)
    east = math.sin(bearing) * math.sin(arc) * math.cos(lat)
    there = math.asin(max(-1.0, min(1.0, sin_lat)))
    lon += math.atan2(east, math.cos(arc) - math.sin(lat) * sin_lat)
    return unit_vector(math.degrees(there), math.degrees(lon))


def free_space_loss_db(distance_km: float) -> float:
    """Loss between isotropic antennas, ITU-R P.525: 32.45 + 20 log f + 20 log d."""
    return 32.45 + 20.0 * math.log10(FREQ_MHZ) + 20.0 * math.log10(max(distance_km, 1.0))


def es_loss_db(hop_km: float, fo_es_mhz: float) -> float:
    """Basic loss of one sporadic E hop beyond free space: ITU-R P.2001-4, attachment G, from memory.

    Checked against the values it gives for f/foEs = 5: 41.33, 22.83, 18.77 dB at 1000, 1500, 2000 km. The
    law is soft on purpose: weak signals come from shorter skip than the secant law allows.
    """
    ratio = FREQ_MHZ / fo_es_mhz
    near = 40.0 / (1.0 + hop_km / 130.0 + (hop_km / 250.0) ** 2) + 0.2 * (hop_km / 2600.0) ** 2
    return near * ratio**2 + math.exp((hop_km - 1660.0) / 280.0)


def snr_db(eirp_dbm: float, distance_km: float, excess_loss_db: float) -> float:
    """SNR at home of a station of that power by a path of that length and loss beyond free space."""
    received_dbm = eirp_dbm + HOME_GAIN_DBI - free_space_loss_db(distance_km) - excess_loss_db
    return received_dbm - NOISE_DBM


def decode_probability(snr: float) -> float:
    """Chance that an FT8 decoder prints a signal of this SNR."""
    above = (snr - HALF_DECODED_DB) / _STEEPNESS_DB
    return _UNDISTURBED / (1.0 + math.exp(-max(above, -30.0)))


def printed_snr_db(snr: float, rng: random.Random) -> int:
    """What the decoder prints: its own estimate errs by about a decibel and saturates."""
    return round(min(snr, LOUDEST_DB) + rng.gauss(0.0, 1.0))


@dataclass(slots=True)
class Fading:
    """Slow fading of one path: a Gauss-Markov walk in decibels about 0 with a correlation time.

    Deviation 4-7 dB over minutes is what six-metre sporadic E shows (common practice, no source).
    """

    deviation_db: float
    correlation_s: float
    _last: dict[str, tuple[float, float]] = field(default_factory=dict)

    def at(self, name: str, at_s: float, rng: random.Random) -> float:
        """The fade of path ``name`` at a time; times must not run backwards for one name."""
        before = self._last.get(name)
        if before is None:
            value = rng.gauss(0.0, self.deviation_db)
        else:
            keep = math.exp(-(at_s - before[0]) / self.correlation_s)
            value = before[1] * keep + rng.gauss(0.0, self.deviation_db * math.sqrt(1.0 - keep * keep))
        self._last[name] = (at_s, value)
        return value
