"""Lines to decodes by a layout: one or more forms of line, of which the first that fits wins.

``Layout`` is what the configuration says, compiled; ``LayoutReader`` reads one stream by it and follows the
date. A line is a decode, a header (it says the date of the lines below), blank, or rejected with a reason.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sentinel.errors import ConfigError
from sentinel.intake.layout_json import JsonForm
from sentinel.intake.layout_text import Found, TextForm
from sentinel.intake.line import LineBatch
from sentinel.intake.newest_date import NewestDate
from sentinel.intake.time_values import DAY_S, EPOCH_ORDINAL
from sentinel.watch.decode import Decode

Form = TextForm | JsonForm
LayoutValue = str | Mapping[str, Mapping[str, str]] | Sequence[str | Mapping[str, Mapping[str, str]]]

# Weak-signal modes report -30 to +30 dB in 2500 Hz; a Morse reader measuring in a narrow filter up to +60.
_LEAST_SNR_DB, _MOST_SNR_DB = -60.0, 60.0
# An offset is small against its slot (7.5 s to 2 min); beyond this it is another column.
_LEAST_DT_S, _MOST_DT_S = -10.0, 10.0
# The widest sound or baseband stream that a decoder on a small computer listens to: 192 kHz.
_LEAST_AUDIO_HZ, _MOST_AUDIO_HZ = 0.0, 192_000.0
# 10 MHz to 10 GHz can be told in MHz, kHz and Hz by the size of the number alone.
_LEAST_FREQ_MHZ, _MOST_FREQ_MHZ = 0.1, 10_000.0
# A time outside 1970 to 2199 is a column that is no time, or a clock that was never set.
LAST_AT_S = 7_258_118_400.0


@dataclass(frozen=True, slots=True)
class Rejection:
    """A line that is no decode, and why, in a few words that never quote the line."""

    reason: str


@dataclass(frozen=True, slots=True)
class Header:
    """A line that says the date of the lines below it."""

    day: date


NO_FIT = Rejection("the line does not fit the layout")
NO_DATE = Rejection("the line holds only a time of day and no date is known yet")
NO_TIME = Rejection("there is no such time or date")
NO_NUMBER = Rejection("a field that must be a number is none")
BAD_MODE = Rejection("the mode is no printable word")
BAD_MESSAGE = Rejection("the message holds control characters")


class Layout:
    """The compiled layout of one source. Immutable; any number of readers may share it.

    ``mode`` is that of decodes whose line names none.
    """

    def __init__(self, forms: tuple[Form, ...], mode: str | None = None) -> None:
        if all(form.is_header for form in forms):
            raise ConfigError("the layout has no template with {message}; add the one for decodes")
        self.forms = forms
        self.mode = mode

    @classmethod
    def compile(
        cls, value: LayoutValue, fields: Mapping[str, str] | None = None, mode: str | None = None
    ) -> "Layout":
        """Compile a template, ``"json"`` with its table of pointers, ``{"json": {...}}``, or a list of these.

        Raises ConfigError with one sentence that says what is wrong and how to mend it.
        """
        values = [value] if isinstance(value, str | Mapping) else list(value)
        if not values:
            raise ConfigError("the layout is an empty list; give at least one template")
        if fields is not None and "json" not in values:
            raise ConfigError('a table of fields belongs to layout = "json"; remove it or change the layout')
        return cls(tuple(_form(each, fields) for each in values), mode)

    @property
    def needs_date(self) -> bool:
        """True if decodes may hold only a time of day; a header, a file's name or a clock then dates them."""
        return any(not (form.is_header or _says_date(form)) for form in self.forms)


def _form(value: str | Mapping[str, Mapping[str, str]], fields: Mapping[str, str] | None) -> Form:
    if isinstance(value, Mapping):
        if set(value) != {"json"} or not isinstance(value["json"], Mapping):
            raise ConfigError("a layout table holds one key, json, with a table of pointers")
        return JsonForm(value["json"])
    if value != "json":
        return TextForm(value)
    if fields is None:
        raise ConfigError('layout = "json" needs a table of fields, for instance utc = "/time"')
    return JsonForm(fields)


def _says_date(form: Form) -> bool:
    return any(part is not None and part.says_date for part in (form.clock, form.calendar))


class LayoutReader:
    """Reads the lines of one source in their order.

    ``date_hint`` helps layouts with a bare time of day: a date is that of the first line (from the file's
    name), a number an instant near the first line (seconds since 1970, from the wall clock).
    """

    def __init__(self, layout: Layout, source: str = "", date_hint: date | float | None = None) -> None:
        self._forms, self._mode = layout.forms, layout.mode
        self._source = source
        self._newest = NewestDate()
        # the lines of one slot share their stamp, so the last one is read once
        self._stamp: tuple[Form, str | None, str | None] | None = None
        self._stamp_s = 0.0
        if isinstance(date_hint, date):
            self._newest.see_day(date_hint.toordinal() - EPOCH_ORDINAL)
        elif date_hint is not None:
            self._newest.near(date_hint)

    @property
    def maybe_date(self) -> date | None:
        """The newest date seen, to be kept beside the checkpoint and given back as ``date_hint``."""
        day = self._newest.maybe_day
        return None if day is None else date.fromordinal(day + EPOCH_ORDINAL)

    def near(self, now_s: float) -> None:
        """The lines that follow are being written now (seconds since 1970, a synchronised clock).

        Call it before each live batch of a file, serial or UDP source: after days without a line, a bare time
        of day does not say how many days have passed.
        """
        self._newest.near(now_s)
        self._stamp = None

    def read_batch(self, batch: LineBatch, now_s: float | None) -> list[Decode | Header | Rejection | None]:
        """Read a batch of a source; ``now_s`` is a synchronised clock (seconds since 1970) or ``None``."""
        if batch.is_live and now_s is not None:
            self.near(now_s)
        elif self._newest.maybe_day is None and batch.written_s is not None:
            self.end_near(batch.texts, batch.written_s)
        return [self.read(text) for text in batch.texts]

    def end_near(self, texts: Iterable[str], at_s: float) -> None:
        """Date the first of ``texts`` so that the last was written about ``at_s`` (seconds since 1970).

        For an old log with bare times of day whose name says no date: ``at_s`` is when it was last written.
        """
        trial = LayoutReader(Layout(self._forms), date_hint=at_s)
        first_s = last_s = None
        for found in map(trial.read, texts):
            if isinstance(found, Decode):
                last_s = found.at_s
                first_s = last_s if first_s is None else first_s
        if first_s is not None and last_s is not None:
            days_late = round((last_s - at_s) / DAY_S)
            self._newest.see_day(int(first_s // DAY_S) - days_late)
            self._stamp = None

    def read(self, text: str) -> Decode | Header | Rejection | None:
        """What one line says; ``None`` for a blank line."""
        line = text.strip()
        if not line:
            return None
        for form in self._forms:
            found = form.match(line)
            if found is not None:
                return self._header(form, found) if form.is_header else self._decode(form, found)
        return NO_FIT

    def _decode(self, form: Form, found: Found) -> Decode | Rejection:
        utc, day_text, snr, dt, audio, freq, mode, message, doubt = found
        try:
            snr_db = float(snr) if snr else None
            dt_s = float(dt) if dt else None
            audio_hz = float(audio) if audio else None
            freq_mhz = _megahertz(float(freq)) if freq else None
        except ValueError:
            return NO_NUMBER
        reason = _out_of_range(snr_db, dt_s, audio_hz, freq_mhz)
        if reason is not None:
            return reason
        if mode and not (mode.isascii() and mode.isprintable()):
            return BAD_MODE
        message = (message or "").rstrip()
        if not message.isprintable():
            return BAD_MESSAGE
        stamp = form, utc, day_text
        if stamp != self._stamp:
            at_s = self._at_s(form, utc, day_text)
            if isinstance(at_s, Rejection):
                return at_s
            self._stamp, self._stamp_s = stamp, at_s
        mode, at_s = mode or self._mode, self._stamp_s
        return Decode(at_s, message, snr_db, dt_s, audio_hz, freq_mhz, mode, self._source, doubt is not None)

    def _at_s(self, form: Form, utc: str | None, day_text: str | None) -> float | Rejection:
        time = form.clock.read(utc, self._newest.maybe_nearby_day) if form.clock is not None and utc else None
        if time is None or time.second_of_day is None:
            return NO_TIME
        day = time.day
        if day_text and form.calendar is not None:
            calendar = form.calendar.read(day_text, self._newest.maybe_nearby_day)
            if calendar is None:
                return NO_TIME
            day = calendar.day
        if day is None:
            at_s = self._newest.place(time.second_of_day)
            return NO_DATE if at_s is None else at_s
        at_s = day * DAY_S + time.second_of_day
        if not 0.0 <= at_s < LAST_AT_S:
            return NO_TIME
        self._newest.see(at_s)
        return at_s

    def _header(self, form: Form, found: Found) -> Header | Rejection:
        self._stamp = None
        utc, day_text = found[0], found[1]
        calendar = None
        if form.calendar is not None and day_text:
            calendar = form.calendar.read(day_text, self._newest.maybe_nearby_day)
        if calendar is None or calendar.day is None or not 0 <= calendar.day < LAST_AT_S / DAY_S:
            return NO_TIME
        time = form.clock.read(utc) if form.clock is not None and utc else calendar
        if time is None:
            return NO_TIME
        if time.second_of_day is None:
            self._newest.see_day(calendar.day)
        else:
            self._newest.see(calendar.day * DAY_S + time.second_of_day)
        return Header(date.fromordinal(calendar.day + EPOCH_ORDINAL))


def _megahertz(value: float) -> float:
    """MHz below 10,000; kHz below 10,000,000; else Hz. Each covers 10 MHz to 10 GHz."""
    if value < 1e4:
        return value
    return value / 1e3 if value < 1e7 else value / 1e6


def _out_of_range(
    snr_db: float | None, dt_s: float | None, audio_hz: float | None, freq_mhz: float | None
) -> Rejection | None:
    # written out, for speed; a nan fails every comparison
    if snr_db is not None and not _LEAST_SNR_DB <= snr_db <= _MOST_SNR_DB:
        return Rejection("snr_db is outside -60 to 60")
    if dt_s is not None and not _LEAST_DT_S <= dt_s <= _MOST_DT_S:
        return Rejection("dt_s is outside -10 to 10")
    if audio_hz is not None and not _LEAST_AUDIO_HZ <= audio_hz <= _MOST_AUDIO_HZ:
        return Rejection("audio_hz is outside 0 to 192000")
    if freq_mhz is not None and not _LEAST_FREQ_MHZ <= freq_mhz <= _MOST_FREQ_MHZ:
        return Rejection("freq_mhz is outside 0.1 to 10000 MHz")
    return None
