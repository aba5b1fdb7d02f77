"""How a column of times is written: every order of strptime codes that reads all of its texts.

A text is cut into runs of digits, letters and the rest. Each run of digits can be a few codes, by its length;
the codes must come in an order in which people write dates and times. What remains is tried on every text.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sentinel.errors import ConfigError
from sentinel.intake.time_codes import MONTHS, WEEKDAYS, codes_in
from sentinel.intake.time_format import TimeFormat, compile_format
from sentinel.intake.time_values import Reading

_RUN = re.compile(r"[0-9]+|[A-Za-z]+|[^A-Za-z0-9]+")
_ZONE = re.compile(r"(?<=[0-9])[+-][0-9]{2}:?[0-9]{2}$")
_EPOCH = re.compile(r"[0-9]{10}(?:[0-9]{3})?(?:[.][0-9]+)?")
# what a run of so many digits can be
_BY_LENGTH = {
    1: ("%m", "%d", "%H", "%I"),
    2: ("%m", "%d", "%y", "%H", "%I", "%M", "%S"),
    3: ("%j",),
    4: ("%Y", "%H%M"),
    6: ("%H%M%S", "%y%m%d", "%d%m%y", "%m%d%y"),
    7: ("%Y%j",),
    8: ("%Y%m%d", "%d%m%Y", "%m%d%Y"),
    10: ("%y%m%d%H%M",),
    12: ("%Y%m%d%H%M", "%y%m%d%H%M%S", "%d%m%y%H%M%S", "%d%m%Y%H%M"),
    14: ("%Y%m%d%H%M%S", "%d%m%Y%H%M%S"),
    17: ("%Y%m%d%H%M%S%f",),
}
_DATE_ORDERS = ("Ymd", "dmY", "mdY", "ymd", "dmy", "mdy", "Yj", "md", "dm")
_TIME_ORDERS = ("HMSf", "IMSfp", "IMSp", "IMp")
# A reading must fit nearly every line; the rest is garbage (2 %) and damage.
_LEAST_SHARE = 0.95
_LONGEST_TEXT = 48


@dataclass(frozen=True, slots=True)
class TimeGuess:
    """One way to read a column: its format and what it reads, line by line (``None`` where it does not)."""

    written: str
    readings: tuple[Reading | None, ...]

    @property
    def has_date(self) -> bool:
        return any(reading is not None and reading.day is not None for reading in self.readings)

    @property
    def has_time(self) -> bool:
        return any(reading is not None and reading.second_of_day is not None for reading in self.readings)

    @property
    def is_zoned(self) -> bool:
        """True if the texts themselves say that they are UTC."""
        return self.written == "epoch" or "%z" in self.written or self.written.upper().endswith(("Z", "UTC"))


def guesses(texts: Sequence[str]) -> list[TimeGuess]:
    """Every format that reads nearly all of ``texts``, the more usual first."""
    found = []
    seen: set[str] = set()
    for sample in _samples(texts):
        for written in _formats(sample):
            if written in seen:
                continue
            seen.add(written)
            guess = _tried(written, texts)
            if guess is not None:
                found.append(guess)
    return found


def _samples(texts: Sequence[str]) -> list[str]:
    """Texts of the usual length: any one of them has the format of all, unless it is damaged."""
    lengths = sorted(len(text) for text in texts)
    usual = lengths[len(lengths) // 2]
    return [text for text in texts if len(text) == usual <= _LONGEST_TEXT][:3]


def _tried(written: str, texts: Sequence[str]) -> TimeGuess | None:
    try:
        time_format = compile_format(written)
    except ConfigError:
        return None
    fullmatch = re.compile(time_format.pattern).fullmatch
    readings = tuple(_read(time_format, text) if fullmatch(text) else None for text in texts)
    share = sum(reading is not None for reading in readings) / len(texts)
    return TimeGuess(written, readings) if share >= _LEAST_SHARE else None


def _read(time_format: TimeFormat, text: str) -> Reading | None:
    return time_format.read(text, near_day=0)


def _formats(text: str) -> Iterator[str]:
    if _EPOCH.fullmatch(text):
        yield "epoch"
    zone = _ZONE.search(text)
    if zone is not None:
        for written in _formats_of_runs(text[: zone.start()]):
            if _is_natural(written + "%z"):
                yield written + "%z"
    yield from _formats_of_runs(text)


def _formats_of_runs(text: str) -> Iterator[str]:
    runs = _RUN.findall(text)
    if len(runs) <= 17:
        yield from _extended("", runs)


def _extended(begun: str, runs: list[str]) -> Iterator[str]:
    if not runs:
        if _is_whole(_codes(begun)) and _is_natural(begun):
            yield re.sub("[ \t]+", " ", begun)
        return
    for option in _options(runs[0], begun):
        if _may_begin(_codes(begun + option)):
            yield from _extended(begun + option, runs[1:])


def _options(run: str, begun: str) -> Sequence[str]:
    if run[0].isdigit() and run.isascii():
        is_fraction = begun.endswith(("%S.", "%S,")) and len(run) <= 9
        return ("%f",) if is_fraction else _BY_LENGTH.get(len(run), ())
    word = run.lower()
    if word in MONTHS or word in {month[:3] for month in MONTHS}:
        return ("%b",) if len(word) == 3 else ("%B",)
    if word in WEEKDAYS or word in {day[:3] for day in WEEKDAYS}:
        return ("%a",) if len(word) == 3 else ("%A",)
    if word in ("am", "pm"):
        return ("%p",)
    return (run.replace("%", "%%"),)


def _codes(written: str) -> str:
    found = re.findall("%([A-Za-z])", written.replace("%%", ""))
    return "".join("m" if code in "bB" else code for code in found if code not in "aAz")


def _may_begin(codes: str) -> bool:
    """True if the codes can be the beginning of a date and a time, in either order."""
    dates = [code for code in codes if code in "YymdjbB"]
    times = [code for code in codes if code not in "YymdjbB"]
    if len(set(codes)) < len(codes):
        return False
    in_two_parts = ("".join(dates + times), "".join(times + dates))
    is_year_behind = dates == ["m", "d", "Y"] and codes == "md" + "".join(times) + "Y"
    return (
        (codes in in_two_parts or is_year_behind)
        and any(order.startswith("".join(dates)) for order in _DATE_ORDERS)
        and any(order.startswith("".join(times)) for order in _TIME_ORDERS)
    )


def _is_whole(codes: str) -> bool:
    date = "".join(code for code in codes if code in "Yymdj")
    time = "".join(code for code in codes if code not in "Yymdj")
    is_date = date in ("", *_DATE_ORDERS)
    is_time = time in ("", "HM", "HMS", "HMSf", "IMSfp", "IMSp", "IMp")
    return bool(codes) and is_date and is_time


def _is_natural(written: str) -> bool:
    """False for what nobody writes: a colon in a date, or an odd time with a zone or a yearless date."""
    if re.search("%[Yymdj]:", written):
        return False
    if "%z" in written and not re.search("%H:?%M(:?%S([.,]%f)?)? ?%z", written):
        return False
    is_bare = "".join(code for code in _codes(written) if code in "Yymdj") in ("md", "dm")
    return not is_bare or ("%H:%M" in written and not written.startswith("%H"))


def is_yearless(written: str) -> bool:
    """True for a date that does not say its year."""
    codes = codes_in(written)
    return written != "epoch" and bool(codes & set("dbBmj")) and not codes & set("Yy")
