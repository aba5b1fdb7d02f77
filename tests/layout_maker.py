"""Invents decoders: a random layout, and a log that it wrote on an evening that never was.

Everything is drawn from one seed: separators, the order and the look of columns, how time is written,
columns that mean nothing, markers, headers, comments, own transmissions, damage. The maker notes what every
line says, so that a learned layout can be held against it. It shares no code with what it tests.
"""

import json
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

SQUARES = ["FN84", "JN58", "IO91", "EM79", "FM18", "JO22", "KP20", "GF15", "PM95", "IN89", "FN31", "EL96"]
PREFIXES = ["VE1", "DL5", "W9", "K1", "G4", "PA9", "OH2", "JA7", "EA3", "I2", "CT1", "N0", "VE7", "SM5", "F6"]
LETTERS = "ABCDEFGHIJKLMNOPRSTUVWXYZ"
WORDS = ["rx", "dec", "main", "sdr1", "in", "shack", "north", "a", "loop"]
KEYS = ["t", "d", "lvl", "off", "f", "hz", "m", "x", "msg", "n", "k", "id", "p", "w", "v", "u"]
GARBAGE = "\x00\x01\x1b[31m\ufffd#@!~%&*()_+=-{}[]|\\:;\"'<>,.?/ 0123456789abcXYZ\t"

# dates whose day is past the 12th, so that every order can be told from the digits
DATES = [
    "%Y-%m-%d",
    "%Y/%m/%d",
    "%Y%m%d",
    "%d.%m.%Y",
    "%d-%m-%Y",
    "%d/%m/%Y",
    "%m/%d/%Y",
    "%y%m%d",
    "%d %b %Y",
    "%Y-%b-%d",
    "%d %B %Y",
]
CLOCKS = ["%H:%M:%S", "%H%M%S", "%H.%M.%S", "%H:%M:%S.0", "%H%M"]
JOINED = ["%Y%m%d%H%M%S", "%y%m%d_%H%M%S", "%Y%m%d-%H%M%S", "%y%m%d%H%M%S", "%Y-%m-%d %H:%M"]
HEADERS = [
    "--- {} ---",
    "# log opened {}",
    "Date: {}",
    "{}",
    "=== {} UTC ===",
    "* new day {} *",
    "# {} %H:%M:%S version 2.1",
    "{{ day {} }}",
]
STYLES = [
    *["blank", "blank", "fixed", "fixed", "tab", "comma", "semicolon", "pipe"],
    *["box", "keys", "colons", "json", "quoted", "brackets"],
]
NOISE = [
    "",
    "   ",
    "# a comment",
    "decoder restarted",
    ";;;;",
    "utc snr dt freq message",
    "# made 2019-03-05",
]


@dataclass(frozen=True)
class Truth:
    """What one line means; ``None`` for what the layout does not print."""

    at_s: float
    message: str
    snr_db: float | None = None
    dt_s: float | None = None
    audio_hz: float | None = None
    freq_mhz: float | None = None
    mode: str | None = None


@dataclass
class MadeLog:
    """A log, and by line number what each good line says that is not the station's own transmission."""

    described: str
    file_name: str
    lines: list[str] = field(default_factory=list)
    truths: dict[int, Truth] = field(default_factory=dict)


@dataclass(frozen=True)
class Heard:
    """One reception, before any printing."""

    at: datetime
    sender: str
    square: str
    message: str
    snr_db: float
    dt_s: float
    audio_hz: float
    mode: str


@dataclass(frozen=True)
class Column:
    """One invented column: its text for a reception, and how the number in it becomes the truth."""

    name: str
    write: Callable[[Heard], str]
    scale: float = 1.0
    width: int = 0
    is_number: bool = True


def make(seed: int, count: int | None = None) -> MadeLog:
    """The log of the decoder invented from ``seed``."""
    return _Maker(seed, count).log()


class _Maker:
    def __init__(self, seed: int, count: int | None) -> None:
        self.rng = random.Random(seed)
        rng = self.rng
        self.count = count or rng.choice([20, 30, 60, 150, 400])
        self.style = rng.choice(STYLES)
        self.header, self.file_name, clocks = self._time_style()
        self.has_decimal_comma = self.style in ("semicolon", "blank", "tab") and rng.random() < 0.2
        self.columns = self._columns(clocks)
        self.keys = rng.sample(KEYS, len(KEYS))
        is_plain = self.style not in ("json", "quoted", "box")
        self.has_direction = is_plain and rng.random() < 0.25
        self.has_short_own_lines = is_plain and not self.has_direction and rng.random() < 0.2
        may_mark = self.columns[-1].name == "message" and self.style in ("blank", "fixed")
        self.marker = rng.choice([None, "?", "*", "a2"]) if may_mark else None

    def log(self) -> MadeLog:
        rng = self.rng
        heard = self._evening()
        name = heard[0].at.strftime(self.file_name)
        names = [column.name for column in self.columns]
        made = MadeLog(f"{self.style} {names} header={self.header!r} name={name} marker={self.marker}", name)
        if rng.random() < 0.4:
            made.lines.append(rng.choice(NOISE))
        day = ""
        for each in heard:
            if self.header is not None and each.at.strftime("%j") != day:
                day = each.at.strftime("%j")
                made.lines.append(each.at.strftime(self.header))
            self._add(made, each)
            if rng.random() < 0.02:
                made.lines.append("".join(rng.choice(GARBAGE) for _ in range(rng.randint(1, 60))))
            if rng.random() < 0.02:
                made.lines.append(rng.choice(NOISE))
        if rng.random() < 0.3:
            made.lines = [line + "\r" for line in made.lines]
        return made

    def _add(self, made: MadeLog, heard: Heard) -> None:
        texts = [column.write(heard) for column in self.columns]
        line = self._joined(texts)
        if self.has_direction:
            line = f"Rx{self._glue}{line}"
        if self.marker is not None and self.rng.random() < 0.15:
            line += f" {self.marker}"
        made.truths[len(made.lines)] = self._truth(heard, texts)
        made.lines.append(line)
        if self.rng.random() < 0.1:
            own = Heard(heard.at, "G4QMY", "IO91", "DL5QAB G4QMY -12", 0.0, 0.0, 1500.0, heard.mode)
            if self.has_direction:
                made.lines.append(f"Tx{self._glue}" + self._joined([c.write(own) for c in self.columns]))
            elif self.has_short_own_lines:
                kept = [c.write(own) for c in self.columns if c.name in ("utc", "message")]
                made.lines.append(self._glue.join([kept[0], "Tx", *kept[1:]]))

    def _truth(self, heard: Heard, texts: Sequence[str]) -> Truth:
        """What the printed texts say: no more digits than they have."""
        says: dict[str, float | str] = {}
        for column, text in zip(self.columns, texts, strict=True):
            if column.name == "mode":
                says["mode"] = text
            elif column.name in ("snr_db", "dt_s", "audio_hz", "freq_mhz"):
                number = text.rstrip(" dBHzs").replace(",", ".")
                says[column.name] = float(number) / column.scale
        at = heard.at.replace(second=0) if self._lacks_seconds else heard.at
        return Truth(at.timestamp(), heard.message, **says)  # type: ignore[arg-type]

    # --- the layout ---

    def _time_style(self) -> tuple[str | None, str, list[str]]:
        rng = self.rng
        kind = rng.choice(
            ["iso", "iso", "epoch", "compact", "joined", "columns", "columns", "header", "header", "name"]
        )
        header, name = None, "decodes.log"
        if kind == "iso":
            clocks = [
                rng.choice(["%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S"]) + rng.choice(["Z", "", "+00:00"])
            ]
        elif kind == "epoch":
            clocks = [rng.choice(["epoch", "epoch.0", "epoch.25", "epoch ms"])]
        elif kind == "compact":
            clocks = [rng.choice(JOINED)]
        elif kind == "joined":
            clocks = [rng.choice(DATES) + rng.choice([" ", "_", "T"]) + rng.choice(CLOCKS[:-1])]
        elif kind == "columns":
            clocks = rng.sample([rng.choice(DATES), rng.choice(CLOCKS)], 2)
        else:
            clocks = [rng.choice([CLOCKS[0], CLOCKS[1], CLOCKS[4]])]
            if kind == "header":
                dates = [date for date in DATES if date != "%y%m%d"]
                header = rng.choice(HEADERS).replace("{}", rng.choice(dates))
            else:
                name = rng.choice(["%Y-%m-%d.log", "rx_%Y%m%d.txt", "%y%m%d.dat"])
        self._lacks_seconds = not any("%S" in clock or "epoch" in clock for clock in clocks)
        return header, name, clocks

    def _columns(self, clocks: list[str]) -> list[Column]:
        rng = self.rng
        found = [self._snr()]
        if rng.random() < 0.8:
            found.append(self._dt())
        if rng.random() < 0.8:
            found.append(self._audio())
        if rng.random() < 0.4 or len(found) < 3:
            found.append(self._freq())
        if rng.random() < 0.5:
            found.append(Column("mode", lambda h: h.mode, width=6, is_number=False))
        found += rng.sample(self._ignorable(), rng.choice([0, 0, 1, 1, 2, 3]))
        rng.shuffle(found)
        at = 0 if rng.random() < 0.8 else rng.randint(0, len(found))
        found[at:at] = [self._clock(clock) for clock in clocks]
        place = len(found) if rng.random() < 0.7 else rng.randint(0, len(found))
        found.insert(place, Column("message", lambda h: h.message, width=26, is_number=False))
        return found

    def _number(self, decimals: int, unit: str) -> Callable[[float], str]:
        sign = "+" if self.rng.random() < 0.3 else ""
        unit = unit if self.rng.random() < 0.15 else ""
        point = "," if self.has_decimal_comma else "."
        return lambda value: f"{value:{sign}.{decimals}f}".replace(".", point) + unit

    def _snr(self) -> Column:
        written = self._number(self.rng.choice([0, 0, 0, 1]), self.rng.choice(["dB", " dB"]))
        return Column("snr_db", lambda h: written(h.snr_db), width=5)

    def _dt(self) -> Column:
        written = self._number(self.rng.choice([1, 1, 2, 3]), "s")
        return Column("dt_s", lambda h: written(h.dt_s), width=5)

    def _audio(self) -> Column:
        written = self._number(self.rng.choice([0, 0, 1]), "Hz")
        return Column("audio_hz", lambda h: written(h.audio_hz), width=6)

    def _freq(self) -> Column:
        scale, decimals = self.rng.choice([(1.0, 6), (1.0, 3), (1e3, 1), (1e6, 0)])
        point = "," if self.has_decimal_comma else "."
        return Column(
            "freq_mhz",
            lambda h: f"{(50.313 + h.audio_hz / 1e6) * scale:.{decimals}f}".replace(".", point),
            scale,
            width=11,
        )

    def _clock(self, codes: str) -> Column:
        name = "date" if "%H" not in codes and "epoch" not in codes else "utc"
        return Column(name, lambda h: _stamp(h.at, codes), is_number=False)

    def _ignorable(self) -> list[Column]:
        rng = self.rng
        word = rng.choice(WORDS)
        far = {square: rng.randint(400, 9000) for square in SQUARES}
        return [
            Column("counter", lambda h: str(100 + int(h.at.timestamp()) % 100_000 // 15), width=7),
            Column("drift", lambda h: str(rng.choice([0, 0, 0, 0, 1, -1])), width=3),
            Column("symbol", lambda h: "~", width=2),
            Column("word", lambda h: word, width=6, is_number=False),
            Column("channel", lambda h: rng.choice(["ch1", "ch2"]), width=4, is_number=False),
            Column("percent", lambda h: str(rng.randint(20, 100)), width=4),
            Column("bearing", lambda h: str(rng.randint(0, 359)), width=4),
            Column("sync", lambda h: f"{rng.uniform(1, 9):.1f}", width=4),
            Column("certainty", lambda h: f"{rng.uniform(0.4, 1):.2f}", width=5),
            Column("hexadecimal", lambda h: f"{rng.randrange(4096, 65536):x}", width=5, is_number=False),
            Column("distance", lambda h: str(far[h.square]), width=6),
        ]

    # --- the line ---

    @property
    def _glue(self) -> str:
        return {"tab": "\t", "comma": ",", "semicolon": ";", "pipe": " | ", "quoted": ",", "box": " | "}.get(
            self.style, " "
        )

    def _joined(self, texts: Sequence[str]) -> str:
        if self.style == "fixed":
            cells = zip(self.columns, texts, strict=True)
            return " ".join(t.rjust(c.width) if c.is_number else t.ljust(c.width) for c, t in cells).rstrip()
        if self.style == "keys":
            return " ".join(
                f'{key}="{text}"' if " " in text else f"{key}={text}"
                for key, text in zip(self.keys, texts, strict=False)
            )
        if self.style == "colons":
            return ", ".join(f"{key}: {text}" for key, text in zip(self.keys, texts, strict=False))
        if self.style == "json":
            return json.dumps(
                {key: self._json(c, t) for key, c, t in zip(self.keys, self.columns, texts, strict=False)}
            )
        if self.style == "quoted":
            return ",".join(f'"{text}"' for text in texts)
        if self.style == "box":
            return (
                "| " + " | ".join(t.ljust(c.width) for c, t in zip(self.columns, texts, strict=True)) + " |"
            )
        if self.style == "brackets":
            return " ".join(f"[{text}]" if i % 2 else text for i, text in enumerate(texts))
        return self._glue.join(texts)

    def _json(self, column: Column, text: str) -> object:
        if column.is_number:
            try:
                return json.loads(text.lstrip("+"))
            except ValueError:
                return text
        return text

    # --- the evening ---

    def _evening(self) -> list[Heard]:
        rng = self.rng
        at = datetime(2026, rng.randint(1, 12), rng.randint(13, 26), tzinfo=UTC) + timedelta(
            seconds=15 * rng.randint(0, 5759)
        )
        stations = [
            (_call(rng), rng.choice(SQUARES), rng.randint(200, 2900)) for _ in range(max(8, self.count // 8))
        ]
        mode = rng.choice(["FT8", "FT8", "FT4", "JT65", "MSK144"])
        heard: list[Heard] = []
        while len(heard) < self.count:
            for sender, square, audio_hz in rng.sample(stations, rng.randint(1, min(6, len(stations)))):
                other = rng.choice([call for call, _, _ in stations if call != sender])
                heard.append(
                    Heard(
                        at,
                        sender,
                        square,
                        _message(rng, sender, square, other),
                        float(max(-24, min(25, round(rng.gauss(-9, 7))))),
                        rng.gauss(0.2, 0.3),
                        float(audio_hz + rng.randint(-2, 2)),
                        mode,
                    )
                )
            at += timedelta(seconds=15 * rng.choice([1, 1, 1, 2, 3, 8, 40]))
        return heard[: self.count]


def _call(rng: random.Random) -> str:
    return rng.choice(PREFIXES) + "Q" + "".join(rng.choice(LETTERS) for _ in range(rng.randint(1, 2)))


def _message(rng: random.Random, sender: str, square: str, other: str) -> str:
    kind = rng.random()
    if kind < 0.4:
        return f"CQ {rng.choice(['', '', '', 'DX ', 'EU '])}{sender} {square}"
    if kind < 0.6:
        return f"{other} {sender} {square}"
    if kind < 0.8:
        return f"{other} {sender} {rng.choice(['', 'R'])}{rng.randint(-24, 12):+03d}"
    if kind < 0.95:
        return f"{other} {sender} {rng.choice(['RRR', 'RR73', '73'])}"
    odd = [f"<...> {sender} RR73", f"{other} {sender} R {square}", "TNX BOB 73 GL", f"CQ {sender}/P {square}"]
    return rng.choice(odd)


def _stamp(at: datetime, codes: str) -> str:
    if not codes.startswith("epoch"):
        return at.strftime(codes)
    at_s = at.timestamp()
    decimals = {"epoch": 0, "epoch.0": 1, "epoch.25": 2, "epoch ms": 0}[codes]
    return f"{at_s * (1000 if codes == 'epoch ms' else 1):.{decimals}f}"
