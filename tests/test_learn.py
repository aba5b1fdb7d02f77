"""Learning a layout from a log alone: invented layouts, and refusals where the log does not say."""

import random
import tomllib
from datetime import UTC, date, datetime

import pytest
from layout_maker import MadeLog, Truth, make

from sentinel.intake.file_date import date_in_name
from sentinel.intake.layout import Layout, LayoutReader
from sentinel.intake.learn import Learned, Refusal, learn
from sentinel.watch.decode import Decode


def learned(lines: list[str], file_name: str | None = None, written_s: float | None = None) -> Learned:
    found = learn(lines, file_name, written_s)
    assert isinstance(found, Learned), found
    return found


def read_back(found: Learned, lines: list[str], day: date | None = None) -> list[object]:
    """What the printed TOML line reads, as an operator would paste it."""
    layout = Layout.compile(tomllib.loads(found.toml_line)["layout"])
    reader = LayoutReader(layout, date_hint=day)
    return [reader.read(line) for line in lines]


def agrees(decode: object, truth: Truth) -> bool:
    if not isinstance(decode, Decode):
        return False
    numbers = ("snr_db", "dt_s", "audio_hz", "freq_mhz")
    pairs = [(getattr(decode, name), getattr(truth, name)) for name in numbers]
    return (
        decode.at_s == truth.at_s
        and decode.message == truth.message
        and decode.mode == truth.mode
        and all(a == b if a is None or b is None else abs(a - b) < 1e-6 for a, b in pairs)
    )


def share_read_rightly(made: MadeLog, found: Learned) -> float:
    decodes = read_back(found, made.lines, date_in_name(made.file_name))
    return sum(agrees(decodes[number], truth) for number, truth in made.truths.items()) / len(made.truths)


@pytest.mark.parametrize("seed", range(60))
def test_an_invented_layout_is_learned_and_every_field_read_rightly(seed: int) -> None:
    made = make(seed)
    found = learned(made.lines, made.file_name)
    assert share_read_rightly(made, found) >= 0.97, f"{made.described}\n{found.toml_line}"
    assert "\n" not in found.toml_line
    own = [number for number, line in enumerate(made.lines) if "Tx" in line]
    decodes = read_back(found, made.lines, date_in_name(made.file_name))
    if len(own) > 1:  # one line alone could be any station's
        assert not [made.lines[number] for number in own if isinstance(decodes[number], Decode)]


@pytest.mark.parametrize("seed", range(1000, 1012))
def test_twenty_good_lines_are_enough(seed: int) -> None:
    made = make(seed, 20)
    assert share_read_rightly(made, learned(made.lines, made.file_name)) >= 0.95, made.described


def test_the_evidence_names_each_field_with_examples_and_a_share() -> None:
    found = learned(plain_log())
    by_field = {each.field: each for each in found.evidence}
    assert set(by_field) == {"utc", "snr_db", "dt_s", "audio_hz", "message"}
    assert all(len(each.examples) == 3 and each.share == 1.0 for each in found.evidence)
    assert found.share == 1.0


def test_nothing_of_a_hostile_log_reaches_the_terminal() -> None:
    lines = ["\x1b]0;\u202e " + line.replace("JN58", "JN58 \x07x") for line in plain_log()]
    found = learned(lines)
    printed = "".join([found.toml_line, *found.evidence_lines()])
    assert printed.isprintable()
    assert sum(isinstance(each, Decode) for each in read_back(found, lines)) > 30


def test_a_log_that_is_mostly_something_else_says_how_little_it_explains() -> None:
    lines = plain_log()
    noise = [f"status {i} of the radio is fine" for i in range(len(lines))]
    mixed = [line for pair in zip(lines, noise, strict=True) for line in pair]
    assert learned(mixed).share == pytest.approx(0.5, abs=0.02)


# --- refusals ---


def plain_log(count: int = 60, day: str = "2026-06-14", reports: int = 1) -> list[str]:
    """Time, so many columns of reports, offset, sound and message."""
    rng = random.Random(1)
    calls = [f"DL{rng.randint(1, 9)}Q{a}{b}" for a in "ABCD" for b in "XYZ"]
    lines = []
    for i in range(count):
        sender, other = rng.sample(calls, 2)
        text = rng.choice(
            [f"CQ {sender} JN58", f"{other} {sender} RR73", f"{other} {sender} -{rng.randint(1, 20):02d}"]
        )
        snr = [f"{rng.gauss(-9, 6):.0f}" for _ in range(reports)]
        clock = f"{12 + i * 15 // 3600:02d}:{i * 15 // 60 % 60:02d}:{i * 15 % 60:02d}"
        columns = [day, clock, *snr, f"{rng.gauss(0.2, 0.3):.1f}", str(rng.randint(200, 2900)), text]
        lines.append(" ".join(columns))
    return lines


def refused(lines: list[str], **options: float) -> str:
    found = learn(lines, **options)  # type: ignore[arg-type]
    assert isinstance(found, Refusal), found
    return found.reason


def test_two_columns_that_could_both_be_the_report_are_refused_by_name() -> None:
    reason = refused(plain_log(reports=2))
    assert "could both be snr_db" in reason


def test_two_columns_of_different_messages_are_refused_and_of_the_same_are_not() -> None:
    lines = plain_log()
    same = [f"{line} | {line.split(maxsplit=5)[5]}" for line in lines]
    assert isinstance(learn([each.replace(" ", ";", 5).replace(" | ", ";") for each in same]), Learned)
    other = [f"{line} | {lines[-i].split(maxsplit=5)[5]}" for i, line in enumerate(lines)]
    assert "both hold messages" in refused([each.replace(" ", ";", 5).replace(" | ", ";") for each in other])


@pytest.mark.parametrize("day", ["05/06/2026", "10-06-11"])
def test_a_date_that_can_be_read_in_two_ways_is_refused_with_both(day: str) -> None:
    reason = refused(plain_log(day=day))
    assert " or " in reason
    assert "June" in reason


def test_the_time_of_the_last_change_settles_such_a_date() -> None:
    written_s = datetime(2026, 6, 5, 20, tzinfo=UTC).timestamp()
    found = learned(plain_log(day="05/06/2026"), written_s=written_s)
    assert "%d/%m/%Y" in found.toml_line
    american = datetime(2026, 5, 6, 20, tzinfo=UTC).timestamp()
    assert "%m/%d/%Y" in learned(plain_log(day="05/06/2026"), written_s=american).toml_line


def test_midnight_settles_such_a_date() -> None:
    lines = plain_log(40, day="05/06/2026") + plain_log(40, day="06/06/2026")
    assert "%d/%m/%Y" in learned(lines).toml_line


def test_local_time_beside_utc_is_refused_unless_one_says_that_it_is_utc() -> None:
    lines = [f"{int(line[11:13]) - 3:02d}{line[13:19]} {line}" for line in plain_log()]
    assert "two time zones" in refused(lines)
    said = [line[:28] + "Z" + line[28:] for line in lines]
    assert "%Y-%m-%d %H:%M:%SZ" in learned(said).toml_line


def test_a_log_without_messages_or_without_times_is_refused_with_the_reason() -> None:
    assert "message" in refused([f"12:00:{i % 60:02d} nothing here" for i in range(100)])
    assert "their time" in refused([line.split(maxsplit=2)[2] for line in plain_log()])
    assert "too few" in refused(plain_log(5))
    assert "too few" in refused([])


def test_hostile_text_is_refused_and_never_raises() -> None:
    rng = random.Random(3)
    for _ in range(20):
        lines = [
            "".join(chr(rng.choice([*range(1, 256), 0x202E, 0x10FFFF])) for _ in range(80)) for _ in range(60)
        ]
        assert isinstance(learn(lines), Refusal)
    assert isinstance(learn(["{" * 3000] * 50), Refusal)
    assert isinstance(learn(["[1] " * 900] * 50), Refusal)


# --- what else a log may hold ---


def test_names_are_not_trusted() -> None:
    lines = []
    for line in plain_log():
        day, clock, snr, dt, audio, message = line.split(maxsplit=5)
        lines.append(f"freq={day}T{clock}Z mode={dt} utc={audio} message={snr} snr={message}")
    assert learned(lines).value == (
        "freq={utc:%Y-%m-%dT%H:%M:%SZ} mode={dt_s} utc={audio_hz} message={snr_db} snr={message}"
    )


def test_lines_that_lack_a_column_get_their_own_template() -> None:
    lines = plain_log(80)
    for i in range(0, 80, 5):
        day, clock, snr, _, audio, message = lines[i].split(maxsplit=5)
        lines[i] = f"{day} {clock} {snr} {audio} {message}"
    found = learned(lines)
    decodes = read_back(found, lines)
    assert sum(isinstance(each, Decode) for each in decodes) == 80
    lacking = decodes[0]
    assert isinstance(lacking, Decode)
    assert lacking.dt_s is None
    assert lacking.audio_hz == float(lines[0].split()[3])


def rewritten(form: str) -> list[str]:
    """The plain log with the parts of each line put into ``form``."""
    lines = []
    for line in plain_log():
        day, clock, snr, dt, audio, message = line.split(maxsplit=5)
        parts = {"day": day, "clock": clock, "snr": snr, "dt": dt, "audio": audio, "message": message}
        parts["compact"] = clock.replace(":", "")
        parts["twelve"] = datetime.strptime(clock, "%H:%M:%S").strftime("%I:%M:%S %p")
        lines.append(form.format_map(parts))
    return lines


@pytest.mark.parametrize(
    ("form", "template"),
    [
        # full fixed columns touch: a report below -9 follows the time without a blank
        (
            "{compact}{snr:>3} {dt:>4} {audio:>5} ~  {message}",
            "{utc:%H%M%S}{snr_db} {dt_s} {audio_hz} {skip} {message}",
        ),
        (
            "{day} {clock}@{snr}@{dt}@{audio}@{message}",
            "{utc:%Y-%m-%d %H:%M:%S}@{snr_db}@{dt_s}@{audio_hz}@{message}",
        ),
        (
            "{day} {clock} > {message} < {snr}/{dt}/{audio}",
            "{utc:%Y-%m-%d %H:%M:%S} {skip} {message} {skip} {snr_db}/{dt_s}/{audio_hz}",
        ),
        ("{day} {twelve} {snr} {dt} {message}", "{utc:%Y-%m-%d %I:%M:%S %p} {snr_db} {dt_s} {message}"),
        (
            "{day} {clock} MFSK FT8 {snr} {message}",
            "{utc:%Y-%m-%d %H:%M:%S} {skip} {mode} {snr_db} {message}",
        ),
        (
            "at {clock} on {day} heard {message} with {snr} dB, {audio} Hz",
            "{skip} {utc:%H:%M:%S on %Y-%m-%d} {skip} {message} {skip} {snr_db} {skip}, {audio_hz} {skip}",
        ),
        (
            '{{"a": [{{"t": "{day}T{clock}Z"}}], "b/c": {{"~": {snr}}}, "m": "{message}"}}',
            {
                "json": {
                    "utc": "/a/0/t",
                    "utc_format": "%Y-%m-%dT%H:%M:%SZ",
                    "snr_db": "/b~1c/~0",
                    "message": "/m",
                }
            },
        ),
    ],
)
def test_an_unusual_layout_gives_its_template(form: str, template: object) -> None:
    found = learned(rewritten(form))
    assert tomllib.loads(found.toml_line)["layout"] == template
    assert found.share == 1.0


def test_a_column_of_remarks_behind_the_message_is_ignored() -> None:
    countries = ["", "Germany", "West Germany", "United States of America", "Chile", "Peru", "Japan"]
    rng = random.Random(2)
    lines = [f"{line:<60}  {rng.choice(countries)}".rstrip() for line in plain_log()]
    found = learned(lines)
    assert str(found.value).endswith("{message}{skip:...}")
    plain = [each for each in read_back(learned(plain_log()), plain_log()) if isinstance(each, Decode)]
    assert read_back(found, lines) == plain


def test_a_date_in_header_lines_is_found_and_one_that_says_when_the_program_was_made_is_not() -> None:
    lines = ["decoder made 2019-03-05", "*** 14 June 2026 ***", *(line[11:] for line in plain_log())]
    found = learned(lines)
    first = next(each for each in read_back(found, lines) if isinstance(each, Decode))
    assert datetime.fromtimestamp(first.at_s, UTC) == datetime(2026, 6, 14, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("2026-06-14.log", date(2026, 6, 14)),
        ("rx_20260614_120000.txt", date(2026, 6, 14)),
        ("20260614120000.txt", date(2026, 6, 14)),
        ("log 14.06.2026", date(2026, 6, 14)),
        ("260614.dat", date(2026, 6, 14)),
        ("decodes.log", None),
        ("20269999.log", None),
        ("50313000.log", None),
    ],
)
def test_the_date_in_a_file_name(name: str, day: date | None) -> None:
    assert date_in_name(name) == day
