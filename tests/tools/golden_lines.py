"""Golden logs about what stands in logs: times, shapes of lines, their order and repetition."""

import json
import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from golden_evening import (
    ALL_AROUND,
    BEYOND_4000_KM,
    LOCAL,
    SLOT_S,
    SOUTH_WEST,
    START_S,
    at,
    calls,
    decoded,
    evening,
    in_order,
    moved,
    opening,
    written,
)
from golden_logs import GoldenLog, iso, rendered, seconds, text

from sentinel.rehearsal.heard import Heard
from sentinel.rehearsal.logs import PLAIN

BARE = "{utc:%H%M%S} {snr_db} {dt_s} {audio_hz} {message}"
SHORT = "{utc} {snr_db} {message}"


def line_logs() -> Iterator[GoldenLog]:
    """All of them."""
    yield from _times()
    yield from _shapes()
    yield from _ends()
    yield from _orders()


# --- times ------------------------------------------------------------------------------------------


def _times() -> Iterator[GoldenLog]:
    late = rendered(moved(evening(), 3.6 * 3600), BARE)
    about = "Bare times of day over midnight, dated by the file's name."
    yield written("midnight-2026-06-14", "open once", about, late, BARE)
    headed = f'layout = ["{BARE}", "=== {{date:%d %b %Y}} ==="]'
    about = "The date stands in a header line."
    yield written("midnight-header", "open once", about, ["=== 14 Jun 2026 ===", *late], headed)
    first = next(number for number, line in enumerate(late) if line.startswith("000"))
    swapped = [*late[: first - 1], late[first], late[first - 1], *late[first + 1 :]]
    about = "A line of the old day comes after the first of the new."
    yield written("midnight-late-line-2026-06-14", "open once", about, swapped, BARE)
    yearless = "{date:%d.%m.} {utc:%H:%M:%S} {snr_db} {message}"
    new_year = rendered(moved(evening(), seconds("2026-12-31T23:40:00") - START_S), yearless)
    layout = f'layout = ["{yearless}", "year {{date:%d.%m.%Y}}"]'
    about = "Day and month without a year, over New Year."
    yield written("new-year", "open once", about, ["year 31.12.2026", *new_year], layout)
    about = "Times in milliseconds since 1970."
    thousands = [f"{line.at_s * 1000:.0f} {line.snr_db} {line.message}" for line in evening()]
    yield written("epoch-milliseconds", "open once", about, thousands, "{utc:epoch} {snr_db} {message}")
    yield written(
        "offset-from-utc", "open once", "Local times with their offset from UTC.", _local_times(), SHORT
    )
    leap = rendered(evening())
    leap.insert(40, leap[39][:17] + "60" + leap[39][19:])
    yield written("second-60", "open once", "A second 60 in the middle.", leap)
    nights = [*evening(), *moved(evening(), 4 * 86400.0)]
    yield decoded("two-nights", "opens twice", "Two nights with four days of nothing between.", nights)
    early = moved(evening(), 60 - START_S)
    yield decoded("first-of-1970", "open once", "A computer whose clock began at zero.", early)


def _local_times() -> Iterator[str]:
    for line in evening():
        local = datetime.fromtimestamp(line.at_s - 3 * 3600, UTC)
        yield f"{local:%Y-%m-%dT%H:%M:%S}-03:00 {line.snr_db} {line.message}"


# --- shapes of lines --------------------------------------------------------------------------------


def _shapes() -> Iterator[GoldenLog]:
    lines = rendered(evening())
    crlf = b"\xef\xbb\xbf" + text((line + "  " for line in lines), "\r\n")
    about = "CRLF, a byte order mark, trailing blanks."
    yield written("crlf", "open once, nothing rejected", about, crlf)
    about = "Binary, half lines, overlong lines between."
    yield written("garbage", "open once, some rejected", about, _with_garbage(lines))
    about = "Escapes, markup, changes of direction, SQL, braces, in messages."
    yield written("hostile", "open once, some rejected", about, _hostile(lines))
    yield decoded(
        "no-snr", "open once", "Nothing but time and message.", evening(), layout="{utc:%FT%TZ}|{message}"
    )
    pointers = 'utc = "/when/unix"\nsnr_db = "/signal/snr"\ndt_s = "/signal/offset"\nmessage = "/said"'
    about = "JSON Lines with nested fields."
    layout = f'layout = "json"\n[source.fields]\n{pointers}'
    yield written("json-lines", "open once, nothing rejected", about, map(_json, evening()), layout)
    mixed = [
        f"{line.at_s:.0f} heard {line.message}" if number % 2 else lines[number]
        for number, line in enumerate(evening())
    ]
    layout = f'layout = ["{PLAIN}", "{{utc:epoch}} heard {{message}}"]'
    yield written("two-layouts", "open once, nothing rejected", "Two forms of line.", mixed, layout)
    khz = [f"{iso(line.at_s)} {50313 + line.audio_hz / 1e3:.3f} {line.message}" for line in evening()]
    about = "The frequency column is in kHz."
    yield written("frequency-in-khz", "open once", about, khz, "{utc} {freq_mhz} {message}")
    about = "The decoder itself doubts every far line."
    yield written("doubted", "never open", about, _doubted(), 'layout = "{utc} {snr_db} {message} {doubt:?}"')


def _with_garbage(lines: Sequence[str]) -> bytes:
    rng = random.Random("garbage")
    junk = [
        *(b"", b"\0\0\0\0", b"---", b"x" * 5000, bytes(range(128, 256)), b"2026-06-14T20:", b"\xff\xfe\x00"),
        b"2026-06-14T20:00:00Z five 0.1 1200 CQ K5QAI EM55",
        b"2026-13-45T99:00:00Z 1 0.1 1200 CQ K5QAI EM55",
    ]
    done = b""
    for line in lines:
        done += line.encode() + b"\n"
        if rng.random() < 0.3:
            done += rng.choice(junk) + b"\n"
    return done


def _hostile(lines: Sequence[str]) -> Iterator[str]:
    messages = [
        *("\x1b]0;owned\x07 CQ K5QAI EM55", "\x1b[2J\x1b[H", "CQ \u202eK5QAI EM55", "CQ K5QAI EM55\x00"),
        *("<script>alert(1)</script>", "'); DROP TABLE sighting;--", "$(reboot) `reboot`", "%s%s%s%n"),
        *("{utc:epoch}{message}", "CQ K5QAI/../../etc EM55", "sentinel/v1/+/# EM55"),
        *("CQ K5QAI EM55 " + "A" * 900, "\u216d Q K5QAI EM55", "CQ \u041a5QAI EM55"),
    ]
    for number, line in enumerate(lines):
        yield line
        if number % 9 == 8 and messages:
            yield f"{line.split()[0]} -5 0.1 1200 {messages.pop(0)}"


def _json(line: Heard) -> str:
    signal = {"snr": line.snr_db, "offset": line.dt_s, "tone": line.audio_hz}
    return json.dumps({"when": {"unix": line.at_s}, "signal": signal, "said": line.message, "more": [1, {}]})


def _doubted() -> Iterator[str]:
    far = [calls(one, 10 + 7 * n, 10.5 + 7 * n) for n, one in enumerate((*SOUTH_WEST, *ALL_AROUND[:2]))]
    for line in in_order(calls(LOCAL, 0, 70), *far):
        doubt = "" if line.message.endswith("FN84") else " ?"
        yield f"{iso(line.at_s)} {line.snr_db} {line.message}{doubt}"


# --- where a log begins and ends --------------------------------------------------------------------


def _ends() -> Iterator[GoldenLog]:
    whole = text(rendered(evening())).rstrip(b"\n")
    yield written("no-last-line-end", "open once, nothing rejected", "The last line has no end.", whole)
    yield written("empty", "nothing", "A log without a line.", b"")
    yield decoded("one-line", "only quiet, no far station", "A single line.", calls(LOCAL, 0, 0.5))
    yield decoded(
        "one-far-line", "never open", "A single line, from far away.", calls(BEYOND_4000_KM, 0, 0.5)
    )
    about = "The log begins in the middle of an opening."
    yield decoded("begins-open", "open once", about, opening(0, 12), until_s=at(60))
    about = "The log ends in the middle of an opening."
    yield decoded("ends-open", "open once", about, in_order(calls(LOCAL, 0, 20), opening(15, 20)))


# --- order and repetition ---------------------------------------------------------------------------


def _orders() -> Iterator[GoldenLog]:
    lines = rendered(evening())
    twice = [line for line in lines for _ in range(2)]
    yield written("printed-twice", "open once", "Every line is printed twice.", twice)
    about = "The decoder writes its file again from the start."
    yield written("begun-anew", "open once", about, [*lines[:120], *lines])
    rng = random.Random("order")
    late = sorted(evening(), key=lambda line: line.at_s + rng.uniform(0.0, 3 * SLOT_S))
    yield decoded("out-of-order", "open once", "Lines come up to three slots late.", late)
    strays = list(lines)
    for place, day in (
        (3, "2099-01-01T00:00:00Z"),
        (90, "1999-12-31T23:59:59Z"),
        (150, "2026-06-15T09:00:00Z"),
    ):
        strays.insert(place, f"{day} -5 0.1 1200 CQ W4QAL EM83")
    yield written("stray-times", "open once", "Single lines from other years.", strays)
    for name, hours in (("clock-set-back", -1), ("clock-set-ahead", 2)):
        by_s = hours * 3600
        about = "The clock that stamps the lines is set during an opening."
        halves = [line if line.at_s < at(20) else replace(line, at_s=line.at_s + by_s) for line in evening()]
        yield decoded(name, "open", about, halves)
