"""The table of the configuration that says which bands are watched."""

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field, model_validator

from sentinel.config_faults import KeyedError
from sentinel.config_types import Section, like
from sentinel.trade.bandplan import BANDS, limits_of

BandName = Annotated[str, like(r"[a-z0-9][a-z0-9.-]{0,15}", "is no band name; write for instance 6m")]


class BandSection(Section):
    """The main band, a name or its limits in MHz, and the names of further ones."""

    name: BandName = "6m"
    low_mhz: float | None = Field(default=None, gt=0, lt=10_000)
    high_mhz: float | None = Field(default=None, gt=0, lt=10_000)
    also: tuple[BandName, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _limits(self) -> "BandSection":
        if (self.low_mhz is None) != (self.high_mhz is None):
            raise ValueError("needs both low_mhz and high_mhz, or neither")
        if self.low_mhz is not None and self.high_mhz is not None and self.low_mhz >= self.high_mhz:
            raise KeyedError("low_mhz", f"is not below high_mhz = {self.high_mhz:g}; swap them")
        if self.low_mhz is None and self.name not in BANDS:
            known = ", ".join(sorted(BANDS))
            raise KeyedError("name", f"is not known ({known}); give low_mhz and high_mhz too")
        for fault in self._faults_of_others():
            raise KeyedError("also", fault, quotes_value=True)
        return self

    def _faults_of_others(self) -> Iterator[str]:
        known = ", ".join(BANDS)
        low_mhz, high_mhz = self.limits_mhz()
        for number, band in enumerate(self.also):
            if band == self.name:
                yield f"has '{band}', which is the main band; remove it"
            elif band in self.also[:number]:
                yield f"has '{band}' twice; remove one"
            elif band not in BANDS:
                yield f"has '{band}', which is not known; there are {known}"
            elif self.limits_mhz(band)[0] <= high_mhz and low_mhz <= self.limits_mhz(band)[1]:
                yield f"has '{band}', which lies within the main band's limits; remove it or mend these"

    @property
    def names(self) -> tuple[str, ...]:
        """All bands watched, the main one first."""
        return (self.name, *self.also)

    def limits_mhz(self, band: str | None = None) -> tuple[float, float]:
        """The limits of one of the bands, by default of the main one."""
        if band in (None, self.name) and self.low_mhz is not None and self.high_mhz is not None:
            return self.low_mhz, self.high_mhz
        limits = limits_of(band or self.name)
        assert limits is not None, "the validator let only known names pass"
        return limits.low_mhz, limits.high_mhz
