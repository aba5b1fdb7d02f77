"""The kinds of values in the configuration, each with the sentence that says what is wrong with it."""

import re
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field
from pydantic.functional_validators import AfterValidator

from sentinel.trade.callsign import parse_call
from sentinel.trade.locator import is_locator, normalize


def _call(text: str) -> str:
    call = parse_call(text.strip())
    if call is None:
        raise ValueError("is not a call sign; write it as it is sent, for instance VE1QZZ")
    return call.base


def _locator(text: str) -> str:
    if not is_locator(text.strip()):
        raise ValueError("is no locator; write 4, 6, 8 or 10 characters such as FN84 or FN84ab")
    return normalize(text)


def _path(text: str) -> str:
    if not text.isprintable():
        raise ValueError("holds a character that no path can; write it anew")
    try:
        Path(text).expanduser()
    except RuntimeError:
        raise ValueError("begins with a home that is not known; write the whole path") from None
    return text


def like(pattern: str, claim: str) -> AfterValidator:
    """Text of a form that ``claim`` describes."""

    def check(text: str) -> str:
        if not re.fullmatch(pattern, text):
            raise ValueError(claim)
        return text

    return AfterValidator(check)


CallSign = Annotated[str, AfterValidator(_call)]
Locator = Annotated[str, AfterValidator(_locator)]
FilePath = Annotated[str, Field(min_length=1), AfterValidator(_path)]
Port = Annotated[int, Field(ge=1, le=65_535)]
Gpio = Annotated[int, Field(ge=0, le=27)]
"""A GPIO number of the 40-pin header (BCM)."""
Share = Annotated[float, Field(ge=0, le=1)]
HoursOfDay = Annotated[
    str,
    like(
        r"([01]\d|2[0-3]):[0-5]\d-([01]\d|2[0-3]):[0-5]\d",
        "must be two local times, for instance 22:00-07:00",
    ),
]


class Section(BaseModel):
    """One table of the file: unknown keys are errors, and text is no number."""

    # built when first used: most tables are only ever read as a part of the whole
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False, defer_build=True)
