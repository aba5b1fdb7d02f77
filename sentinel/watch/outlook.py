"""The outlook: the chance that an opening begins within 1, 6 and 24 hours, by mode, each with its reason.

Openings are counted as a gamma-Poisson process (``gamma_poisson``). What is expected in an hour is

    the prior (season, hour at the midpoint, flux) x station x these hours x spell

=============  ===================================================================================
prior          the published seasons and the trade's rates (``prior_rates``)
station        how many times the prior this station has had, over all that it watched
these hours    the same for this hour and month; it learns from those around it too
spell          the last days: openings come in spells, and a spell is over in about a day
=============  ===================================================================================

The last three learn from the own record (``experience``); without one they are one on average and widely
spread, which draws the chances towards the grey middle. ``tests/bench/outlook_reliability.py`` asks whether
"30 %" happens about 30 % of the time.

The chances of the far modes are those of an opening as the watch calls one; ``aurora`` is that of hearing
any; ``meteor-scatter``, which is never an opening, that of an hour with a ping in six minutes.
"""

from collections.abc import Callable, Iterable
from math import exp

from sentinel.sky.magnetics import dip_latitude_deg, magnetic_latitude_deg
from sentinel.trade.locator import center_of
from sentinel.watch import outlook_words as words
from sentinel.watch.bulletin import Chance, Mode
from sentinel.watch.experience import SPELL_H, SPELL_SHAPE, Experience, cell_of
from sentinel.watch.gamma_poisson import about_one, chance_of_any
from sentinel.watch.mode import SpaceWeather
from sentinel.watch.outlook_sky import chance_of_aurora, chance_of_busy_hour, kp_needed, pings_per_hour
from sentinel.watch.prior_rates import HOUR_S, PriorRates
from sentinel.watch.record import Record

HORIZONS_H = (1, 6, 24)
MOST_METEORS_MHZ = 100.0
"""Above it pings are many times rarer and shorter than at 50 MHz, for which they are counted."""
MOST_AURORA_MHZ = 200.0


class Outlook:
    """The outlook at one station. Raises ValueError for what is no locator."""

    def __init__(self, home_locator: str, freq_mhz: float = 50.0) -> None:
        self._home = center_of(home_locator)
        self._freq_mhz = freq_mhz
        self._prior = PriorRates(self._home, freq_mhz)
        self._magnetic_lat_deg = magnetic_latitude_deg(*self._home)
        self._dip_lat_deg = dip_latitude_deg(*self._home)

    def chances(
        self,
        at_s: float,
        weather: SpaceWeather | None = None,
        record: Record | None = None,
        open_now: Iterable[Mode] = (),
    ) -> tuple[Chance, ...]:
        """The chances as of ``at_s``, the likeliest of the next six hours first.

        A mode of ``open_now`` is certain: what is open needs no forecast.
        """
        weather, record = weather or SpaceWeather(), record or Record()
        chances = [self._far(mode, at_s, weather.flux, record) for mode in self._prior.modes()]
        if self._freq_mhz <= MOST_METEORS_MHZ:
            chances.append(self._meteors(at_s))
        if self._freq_mhz <= MOST_AURORA_MHZ and kp_needed(self._magnetic_lat_deg) is not None:
            chances.append(self._aurora(weather.kp))
        live = frozenset(open_now)
        told = [Chance(c.mode, 1.0, 1.0, 1.0, "open now") if c.mode in live else c for c in chances]
        return tuple(sorted(told, key=lambda chance: (-chance.next_6_h, -chance.next_24_h, chance.mode)))

    def _far(self, mode: Mode, at_s: float, flux: float | None, record: Record) -> Chance:
        known = Experience(self._prior, mode, at_s, flux, record)
        middles = _middles(at_s)
        rates = [self._prior.per_hour(mode, m, flux) * known.local(cell_of(m)) for m in middles]
        fading = (1.0 + (known.spell.mean - 1.0) * exp(-(k + 0.5) / SPELL_H) for k in range(len(rates)))
        expected = [rate * spell for rate, spell in zip(rates, fading, strict=True)]
        best_at_s = middles[max(range(len(rates)), key=rates.__getitem__)]
        month, _ = cell_of(best_at_s)
        factors = (known.station, about_one(known.month(month).shape), about_one(SPELL_SHAPE))
        return _chance(
            mode,
            lambda hours: chance_of_any(sum(expected[:hours]), *factors),
            self._reason(mode, best_at_s, flux, known),
        )

    def _reason(self, mode: Mode, best_at_s: float, flux: float | None, known: Experience) -> str:
        likeliest = words.hour_words(best_at_s)
        if mode is Mode.F2:
            return f"{words.f2_words(best_at_s, self._home[0], flux)}; {likeliest}"
        if mode is Mode.TRANSEQUATORIAL:
            return f"{words.transequatorial_words(best_at_s, self._dip_lat_deg, flux)}; {likeliest}"
        own = words.record_words(*known.near(cell_of(best_at_s)), known.recent(24.0))
        return f"{words.es_words(best_at_s, self._home[0])}; {likeliest}; {own}"

    def _meteors(self, at_s: float) -> Chance:
        middles = _middles(at_s)
        pings = [pings_per_hour(middle, *self._home) for middle in middles]
        best = max(range(len(pings)), key=pings.__getitem__)
        reason = words.meteor_words(middles[best], pings[best])
        return _chance(Mode.METEOR_SCATTER, lambda hours: chance_of_busy_hour(pings[:hours]), reason)

    def _aurora(self, kp: float | None) -> Chance:
        reason = words.aurora_words(self._magnetic_lat_deg, kp)
        return _chance(Mode.AURORA, lambda hours: chance_of_aurora(hours, self._magnetic_lat_deg, kp), reason)


def _middles(at_s: float) -> list[float]:
    """The middle of each of the next 24 hours."""
    return [at_s + (k + 0.5) * HOUR_S for k in range(HORIZONS_H[-1])]


def _chance(mode: Mode, within: Callable[[int], float], reason: str) -> Chance:
    next_1_h, next_6_h, next_24_h = (within(hours) for hours in HORIZONS_H)
    return Chance(mode, next_1_h, next_6_h, next_24_h, reason)
