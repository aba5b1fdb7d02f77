"""Writes what is heard as text, one line a decode, by a layout template.

Templates hold literal text and the named fields ``utc date snr_db dt_s audio_hz freq_mhz mode message``;
``{utc:FORMAT}`` takes strftime codes or ``epoch``. A number may carry a width or sign for print
(``{snr_db:+03d}``); ``reading_layout`` drops those, which readers neither need nor take. The layouts below
are invented for this project; no decoder's own is among them.
"""

import re
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

from sentinel.rehearsal.heard import Heard
from sentinel.rehearsal.physics import FREQ_MHZ

PLAIN = "{utc:%Y-%m-%dT%H:%M:%SZ} {snr_db} {dt_s} {audio_hz} {message}"
LAYOUTS = (
    PLAIN,
    "{date:%Y/%m/%d} {utc:%H:%M:%S};{freq_mhz};{mode};{snr_db:4d} dB;{dt_s:5.1f} s;{audio_hz} Hz;{message}",
    "[{utc:epoch}] at {audio_hz:4d} Hz {snr_db:+03d} {dt_s:+.1f} | {message} |",
    "{utc:%d.%m.%Y %H%M%S} {mode} {message} <<{snr_db}>>",
)
_DEFAULT_FORMATS = {"dt_s": ".1f", "freq_mhz": ".6f"}
_FIELD = re.compile(r"\{(\w+)(?::([^}]*))?\}")
_TIMES = ("utc", "date")


def reading_layout(layout: str) -> str:
    """The template as a reader wants it: without the widths and signs of numbers."""
    return _FIELD.sub(lambda found: found[0] if found[1] in _TIMES else "{" + found[1] + "}", layout)


def render(layout: str, line: Heard) -> str:
    """One line of text, without its line end; KeyError for a field that no decode has."""
    moment = datetime.fromtimestamp(line.at_s, UTC)
    values: dict[str, object] = {
        "snr_db": line.snr_db,
        "dt_s": line.dt_s,
        "audio_hz": line.audio_hz,
        "freq_mhz": FREQ_MHZ + line.audio_hz / 1e6,
        "mode": line.mode,
        "message": line.message,
    }

    def value(found: re.Match[str]) -> str:
        name, form = found[1], found[2] or ""
        if name in _TIMES:
            return str(line.at_s) if form == "epoch" else moment.strftime(form)
        return format(values[name], form or _DEFAULT_FORMATS.get(name, ""))

    return _FIELD.sub(value, layout)


def write_log(path: Path, heard: Iterable[Heard], layout: str = PLAIN) -> int:
    """Write the decodes to a file, in their order; returns how many lines."""
    lines = [render(layout, line) + "\n" for line in heard]
    path.write_text("".join(lines), "utf-8")
    return len(lines)
