"""The small values of published JSON: times, rounded numbers, one line of text."""

import json
import math
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from pydantic import BaseModel

from sentinel.trade.locator import is_locator, normalize

JsonObject = dict[str, Any]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def iso_z(at_s: float) -> str:
    """``at_s``, seconds since 1970 UTC, as ``YYYY-MM-DDTHH:MM:SSZ``; the fraction is cut off.

    Raises OverflowError outside the years 1 to 9999.
    """
    moment = _EPOCH + timedelta(seconds=math.floor(at_s))
    return f"{moment.year:04d}-{moment:%m-%dT%H:%M:%SZ}"


def maybe_iso_z(at_s: float | None) -> str | None:
    """``iso_z``, None for None."""
    return None if at_s is None else iso_z(at_s)


def from_iso_z(text: str) -> float:
    """The inverse of ``iso_z``, seconds since 1970 UTC. Raises ValueError for another form."""
    moment = datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
    return (moment - _EPOCH).total_seconds()


def dump(model: BaseModel) -> JsonObject:
    """The model as a JSON object, its fields in the order of their definition."""
    return model.model_dump(mode="json")


def to_json(value: Mapping[str, Any]) -> str:
    """One line of JSON: ASCII only, no blanks. Raises ValueError for NaN and infinity."""
    return json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))


def rounded(value: float | None, digits: int) -> float | None:
    """``value`` to ``digits`` decimals; None for what is no measurement: None, NaN, infinity."""
    return None if value is None or not math.isfinite(value) else round(value, digits)


def rounded_bearing_deg(bearing_deg: float) -> float:
    """A bearing to 0.1 degree, still in [0, 360): 359.97 is 0.0."""
    return round(bearing_deg, 1) % 360


def maybe_locator(text: str | None) -> str | None:
    """A locator as it is usually written, None for what is none."""
    return normalize(text) if text is not None and is_locator(text) else None
