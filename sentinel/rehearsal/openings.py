"""How signals come: sporadic E clouds, the F2 layer, transequatorial ducts, aurora, tropo and the ground.

Each mechanism answers one question: at this time, how strong is this station at home, if at all? They know
nothing of operators. Sizes and speeds are those of the published observations that each class names.
"""

import math
import random
from dataclasses import dataclass, field

from sentinel.rehearsal.clouds import Cloud, Swell
from sentinel.rehearsal.paths import HomePath
from sentinel.rehearsal.physics import FREQ_MHZ, Fading, Vector, arc_km, es_loss_db, snr_db

_INAUDIBLE_DB = -99.0
_GROUND_BOUNCE_DB = 3.0  # loss of each reflection by the ground between hops (common practice)
_LONGEST_ES_KM = 2600.0  # beyond the thin layer's 2,351 km the hop loss grows by 1 dB in 12 km
_LONGEST_F2_KM = 4100.0


@dataclass(slots=True)
class SporadicE:
    """Sporadic E by one or more clouds, in one hop or several.

    Clouds of 2-100 km drift at 20-130 m/s in groups and fronts (Whitehead 1989; Maeda and Heki 2015); what
    one listener calls an opening is such a group. Loss by ITU-R P.2001-4, see ``physics.es_loss_db``.
    """

    name: str
    clouds: tuple[Cloud, ...]
    mode: str = "sporadic-e"
    fading: Fading = field(default_factory=lambda: Fading(5.0, 100.0))

    @property
    def began_s(self) -> float:
        """When the first cloud appears."""
        return min(cloud.swell.began_s for cloud in self.clouds)

    @property
    def ended_s(self) -> float:
        """When the last cloud is gone."""
        return max(cloud.swell.ended_s for cloud in self.clouds)

    def may_reach(self, path: HomePath) -> bool:
        """Whether every reflection point of some number of hops lies near a cloud at some time."""
        if path.arc_km < 300.0:
            return False
        return any(
            all(self._is_near_a_cloud(path.reflection(hop, hops)) for hop in range(hops))
            for hops in self._hop_counts(path)
        )

    def mean_snr_db(self, path: HomePath, at_s: float) -> float:
        """The best of the possible numbers of hops."""
        losses = (self._loss_db(path, hops, at_s) for hops in self._hop_counts(path))
        loss = min((loss for loss in losses if loss is not None), default=None)
        return _INAUDIBLE_DB if loss is None else snr_db(path.station.eirp_dbm, path.arc_km, loss)

    def snr_db(self, path: HomePath, at_s: float, rng: random.Random) -> float:
        """With fading of its own for each station, over minutes."""
        mean = self.mean_snr_db(path, at_s)
        return mean if mean < -60.0 else mean + self.fading.at(path.station.call, at_s, rng)

    def _hop_counts(self, path: HomePath) -> range:
        fewest = max(1, math.ceil(path.arc_km / _LONGEST_ES_KM))
        return range(fewest, fewest + 2 if path.arc_km > 2000.0 else fewest + 1)

    def _loss_db(self, path: HomePath, hops: int, at_s: float) -> float | None:
        loss = _GROUND_BOUNCE_DB * (hops - 1)
        for hop in range(hops):
            point = path.reflection(hop, hops)
            vertical = max(cloud.vertical_mhz(point, at_s) for cloud in self.clouds)
            if vertical < 3.0:
                return None
            loss += es_loss_db(path.arc_km / hops, vertical)
        return loss

    def _is_near_a_cloud(self, point: Vector) -> bool:
        for cloud in self.clouds:
            middle_s = (cloud.swell.began_s + cloud.swell.ended_s) / 2.0
            drift_km = cloud.drift_m_s * (cloud.swell.ended_s - cloud.swell.began_s) / 2000.0
            if arc_km(point, cloud.centre(middle_s)) < drift_km + 2.0 * cloud.radius_km:
                return True
        return False


@dataclass(slots=True)
class F2:
    """F2 at 50 MHz: hops of 3,000-4,000 km by a layer at 350 km, where the MUF of a day exceeds the band.

    ``clouds`` are regions some 1,000 km across; their ``peak_mhz`` is the MUF of a 3,000 km hop. Loss above
    the MUF by ITU-R P.533 (36 sqrt(f/MUF - 1), from memory), doubled for a layer whose MUF is the day's best,
    plus 18 dB for absorption and what is not otherwise included.
    """

    name: str
    clouds: tuple[Cloud, ...]
    mode: str = "f2"
    fading: Fading = field(default_factory=lambda: Fading(4.0, 40.0))

    @property
    def began_s(self) -> float:
        """When the first cloud appears."""
        return min(cloud.swell.began_s for cloud in self.clouds)

    @property
    def ended_s(self) -> float:
        """When the last cloud is gone."""
        return max(cloud.swell.ended_s for cloud in self.clouds)

    def may_reach(self, path: HomePath) -> bool:
        """Hops of 2,600-4,100 km whose reflection points all lie in the regions."""
        hops = self._hops(path)
        if not 2600.0 <= path.arc_km / hops <= _LONGEST_F2_KM:
            return False
        middle_s = (self.began_s + self.ended_s) / 2.0
        return all(self._muf_mhz(path.reflection(hop, hops), middle_s) > 30.0 for hop in range(hops))

    def mean_snr_db(self, path: HomePath, at_s: float) -> float:
        """By the least number of hops."""
        hops = self._hops(path)
        hop_km = path.arc_km / hops
        if not 2600.0 <= hop_km <= _LONGEST_F2_KM:
            return _INAUDIBLE_DB
        loss = 18.0 + _GROUND_BOUNCE_DB * (hops - 1)
        for hop in range(hops):
            muf = self._muf_mhz(path.reflection(hop, hops), at_s) * min(1.08, (hop_km / 3000.0) ** 0.3)
            if muf < 25.0:
                return _INAUDIBLE_DB
            loss += 0.0 if muf > FREQ_MHZ else min(62.0, 5.0 + 36.0 * math.sqrt(FREQ_MHZ / muf - 1.0) * 2.0)
        return snr_db(path.station.eirp_dbm, path.arc_km, loss)

    def snr_db(self, path: HomePath, at_s: float, rng: random.Random) -> float:
        """With faster fading than sporadic E."""
        return self.mean_snr_db(path, at_s) + self.fading.at(path.station.call, at_s, rng)

    def _hops(self, path: HomePath) -> int:
        return max(1, math.ceil(path.arc_km / _LONGEST_F2_KM))

    def _muf_mhz(self, point: Vector, at_s: float) -> float:
        return max(cloud.vertical_mhz(point, at_s) for cloud in self.clouds)


@dataclass(slots=True)
class Transequatorial:
    """The chordal path across the dip equator: both ends about as far from it, the path about square to it.

    ``equator`` is where the path of the middle of the area crosses the dip equator. Afternoon type
    4,000-10,000 km, evening type 3,000-8,000 km with flutter, at the equinoxes (Harrison).
    """

    name: str
    equator: Vector
    swell: Swell
    is_evening: bool
    half_width_km: float = 700.0
    mode: str = "transequatorial"
    fading: Fading = field(init=False)

    def __post_init__(self) -> None:
        self.fading = Fading(6.0, 5.0) if self.is_evening else Fading(4.0, 60.0)

    @property
    def began_s(self) -> float:
        """When the swell begins."""
        return self.swell.began_s

    @property
    def ended_s(self) -> float:
        """When the swell is over."""
        return self.swell.ended_s

    def may_reach(self, path: HomePath) -> bool:
        """Length in the published range and a middle near the active part of the dip equator."""
        shortest, longest = (3000.0, 8000.0) if self.is_evening else (4000.0, 10000.0)
        if not shortest <= path.arc_km <= longest:
            return False
        return arc_km(path.reflection(0, 1), self.equator) < 2.0 * self.half_width_km

    def mean_snr_db(self, path: HomePath, at_s: float) -> float:
        """Falls off as the path's middle leaves the active part."""
        level = self.swell.level(at_s)
        if level <= 0.0 or not self.may_reach(path):
            return _INAUDIBLE_DB
        away = arc_km(path.reflection(0, 1), self.equator) / self.half_width_km
        loss = 22.0 + 20.0 * away * away + 45.0 * (1.0 - level)
        return snr_db(path.station.eirp_dbm, path.arc_km, loss)

    def snr_db(self, path: HomePath, at_s: float, rng: random.Random) -> float:
        """Evening type with flutter: another value in every slot."""
        return self.mean_snr_db(path, at_s) + self.fading.at(path.station.call, at_s, rng)


@dataclass(slots=True)
class Aurora:
    """Scatter from an auroral curtain poleward of both ends; true distances say nothing of the bearing."""

    name: str
    curtain: Vector
    swell: Swell
    mode: str = "aurora"
    fading: Fading = field(default_factory=lambda: Fading(4.0, 10.0))

    @property
    def began_s(self) -> float:
        """When the swell begins."""
        return self.swell.began_s

    @property
    def ended_s(self) -> float:
        """When the swell is over."""
        return self.swell.ended_s

    def may_reach(self, path: HomePath) -> bool:
        """Both ends within 1,300 km of the curtain, the horizon of a scatterer at 110 km plus bending."""
        return path.arc_km > 150.0 and arc_km(path.there, self.curtain) < 1300.0

    def mean_snr_db(self, path: HomePath, at_s: float) -> float:
        """Scatter loss on the bent path; tone spreading costs FT8 dearly, so most signals are weak."""
        if self.swell.level(at_s) <= 0.0 or not self.may_reach(path):
            return _INAUDIBLE_DB
        bent_km = arc_km(path.home, self.curtain) + arc_km(self.curtain, path.there)
        return snr_db(path.station.eirp_dbm, bent_km, 62.0 + 30.0 * (1.0 - self.swell.level(at_s)))

    def snr_db(self, path: HomePath, at_s: float, rng: random.Random) -> float:
        """Flutters from slot to slot."""
        return self.mean_snr_db(path, at_s) + self.fading.at(path.station.call, at_s, rng)


@dataclass(slots=True)
class Ground:
    """Ground wave and scatter by the troposphere, always there; ``lift_db`` is a night's tropo enhancement.

    20 dB + 0.2 dB/km beyond free space: locals are loud, 300 km is marginal for most (common practice).
    Enhanced nights flatten the slope for a while and reach 800 km, slowly.
    """

    name: str = ""
    swell: Swell | None = None
    lift_db_per_km: float = 0.0
    mode: str = "tropo"
    began_s: float = -math.inf
    ended_s: float = math.inf
    fading: Fading = field(default_factory=lambda: Fading(3.0, 600.0))

    def may_reach(self, path: HomePath) -> bool:
        """Up to 300 km, on enhanced nights up to 900 km."""
        return path.arc_km < (900.0 if self.swell else 450.0)

    def mean_snr_db(self, path: HomePath, at_s: float) -> float:
        """Falls with distance, less so while the troposphere ducts."""
        lift = self.lift_db_per_km * self.swell.level(at_s) if self.swell else 0.0
        return snr_db(path.station.eirp_dbm, path.arc_km, 20.0 + (0.2 - lift) * path.arc_km)

    def snr_db(self, path: HomePath, at_s: float, rng: random.Random) -> float:
        """With slow fading."""
        return self.mean_snr_db(path, at_s) + self.fading.at(path.station.call, at_s, rng)
