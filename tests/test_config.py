"""The configuration: what is right becomes settings; what is wrong is one sentence, and never a traceback."""

import re
import tomllib
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sentinel.band_choice import BandChoice
from sentinel.cli import main
from sentinel.config import Config, check_paths, load, parse
from sentinel.errors import ConfigError
from sentinel.watch.decode import Decode
from sentinel.watch.settings import ReceiverSettings

STATION = '[station]\nlocator = "FN84ab"\n'
SOURCE = '[[source]]\npath = "decodes.log"\nlayout = "{utc:epoch} {message}"\n'
GOOD = STATION + SOURCE
FEED = """\
[[neighbours.feed]]
topic = "spots/#"
call = "/a"
receiver = "/b"
receiver_locator = "/c"
"""


@dataclass(frozen=True)
class Bad:
    """A configuration with one mistake: its text, the line it is in, and the words that must be said."""

    text: str
    line: int | None
    words: tuple[str, ...]


def bad(text: str, line: int | None, *words: str) -> Bad:
    return Bad(text, line, words)


MISTAKES = {
    "band named twice": bad(
        GOOD + '[band]\nalso = ["10m", "10m"]\n', 7, "also has '10m' twice", "remove one"
    ),
    "main band among the others": bad(GOOD + '[band]\nalso = ["6m"]\n', 7, "'6m'", "main band", "remove"),
    "band that is none": bad(GOOD + '[band]\nalso = ["11m"]\n', 7, "'11m'", "not known", "10m, 6m, 4m, 2m"),
    "band within another": bad(
        GOOD + '[band]\nname = "hf"\nlow_mhz = 1.8\nhigh_mhz = 30\nalso = ["10m"]\n', 10, "'10m'", "limits"
    ),
    "band without a source": bad(
        '[band]\nalso = ["10m"]\n' + STATION + SOURCE + 'band = "6m"\n',
        2,
        "'10m'",
        "no [[source]]",
        "add one",
    ),
    "main band without a source": bad(
        '[band]\nname = "6m"\nalso = ["10m"]\n' + STATION + SOURCE + 'band = "10m"\n', 2, "'6m'", "add one"
    ),
    "one band of many for a source of one": bad(
        GOOD + 'band = "6m"\none_band_at_a_time = true\n',
        7,
        "one_band_at_a_time = true",
        "'6m'",
        "remove one",
    ),
    "source of another band": bad(
        GOOD + SOURCE + 'band = "10m"\n', 9, "[[source]] 2 band = '10m'", "not watched", "also in [band]"
    ),
    "misspelt key": bad(
        STATION.replace("locator", "locater") + SOURCE, 2, "locater", "[station]", "locator?"
    ),
    "misspelt table": bad(GOOD + "[recevier]\n", 6, "recevier", "receiver?"),
    "misspelt key of the second source": bad(
        GOOD + SOURCE.replace("layout", "layuot"), 8, "layuot", "[[source]] 2", "layout?"
    ),
    "key like no other": bad(GOOD + "[verdict]\nzzzz = 1\n", 7, "zzzz", "[verdict]", "far_km", "window_min"),
    "key behind the tables": bad(GOOD + "verdict = 3\n", 6, "verdict", "[[source]] 1"),
    "quoted number": bad(GOOD + '[verdict]\nfar_km = "far"\n', 7, "[verdict] far_km", "'far'", "number"),
    "number in quotes": bad(GOOD + '[verdict]\nfar_km = "500"\n', 7, "far_km", "'500'", "without quotes"),
    "truth for a number": bad(GOOD + "[verdict]\nfar_km = true\n", 7, "far_km = true", "number"),
    "no number": bad(GOOD + "[verdict]\nfar_km = nan\n", 7, "far_km = nan", "finite"),
    "number out of range": bad(GOOD + "[verdict]\nfar_km = -1\n", 7, "far_km = -1", "above 0"),
    "window of nothing": bad(GOOD + "[verdict]\nwindow_min = 0\n", 7, "window_min = 0", "1 or more"),
    "fraction of a day": bad(GOOD + "[diary]\nkeep_days = 1.5\n", 7, "keep_days = 1.5", "whole number"),
    "text for a truth": bad(GOOD + '[mqtt]\ntls = "yes"\n', 7, "tls = 'yes'", "true or false"),
    "number for text": bad("[station]\nlocator = 84\n" + SOURCE, 2, "locator = 84", "in quotes"),
    "date for text": bad("[station]\nlocator = 2026-06-14\n" + SOURCE, 2, "2026-06-14", "in quotes"),
    "value for a table": bad("verdict = 3\n" + GOOD, 1, "[verdict] = 3", "table"),
    "text for a list": bad(GOOD + '[receiver]\ncanaries = "VE1QBC"\n', 7, "canaries = 'VE1QBC'", "list"),
    "no station": bad(SOURCE, None, "[station] is missing", "FN84ab"),
    "no locator": bad("[station]\n" + SOURCE, 1, "[station] locator is missing", "FN84ab"),
    "no layout": bad(STATION + '[[source]]\npath = "a"\n', 3, "[[source]] 1 layout is missing", "learn"),
    "locator with a digit for a letter": bad(STATION.replace("FN84ab", "J062") + SOURCE, 2, "'J062'", "FN84"),
    "locator of seven": bad(STATION.replace("FN84ab", "FN84abc") + SOURCE, 2, "'FN84abc'", "4, 6, 8 or 10"),
    "empty locator": bad(STATION.replace("FN84ab", "") + SOURCE, 2, "locator = ''", "FN84"),
    "callsign of nobody": bad(STATION + 'callsign = "HELLO"\n' + SOURCE, 3, "'HELLO'", "call sign", "VE1QZZ"),
    "escape for a callsign": bad(STATION + 'callsign = "\\u001b[2J"\n' + SOURCE, 3, r"\x1b[2J", "call sign"),
    "second canary of nobody": bad(
        GOOD + '[receiver]\ncanaries = ["VE1QBC", "BIRD"]\n', 7, "canaries, entry 2 = 'BIRD'", "call sign"
    ),
    "unknown field": bad(GOOD.replace("epoch}", "epoch} {snr}"), 5, "layout", "{snr}", "{snr_db}"),
    "layout without a message": bad(GOOD.replace("{message}", "x"), 5, "layout", "{message}"),
    "time code of no clock": bad(GOOD.replace("epoch", "%Q"), 5, "layout", "%Q", "strptime"),
    "open brace": bad(GOOD.replace("epoch}", "epoch"), 5, "layout", "{"),
    "number for a layout": bad(GOOD.replace('"{utc:epoch} {message}"', "7"), 5, "layout = 7", "in quotes"),
    "json without fields": bad(GOOD.replace("{utc:epoch} {message}", "json"), 5, "json", "fields"),
    "empty list of layouts": bad(GOOD.replace('"{utc:epoch} {message}"', "[]"), 5, "layout", "empty"),
    "port beyond all ports": bad(GOOD + "[mqtt]\nport = 65536\n", 7, "[mqtt] port = 65536", "65535"),
    "port none": bad(GOOD + "[mqtt]\nport = 0\n", 7, "[mqtt] port = 0", "1 or more"),
    "udp without port": bad(
        STATION + '[[source]]\nkind = "udp"\nlayout = "{utc} {message}"\n', 3, "[[source]] 1", "needs port"
    ),
    "file without path": bad(STATION + '[[source]]\nlayout = "{utc} {message}"\n', 3, "[[source]] 1", "path"),
    "path with a control character": bad(
        STATION + SOURCE.replace("decodes.log", "a\\u0000b"), 4, "path = 'a\\x00b'", "character"
    ),
    "path in nobody's home": bad(
        STATION + SOURCE.replace("decodes.log", "~nobody-at-all/x"), 4, "~nobody-at-all", "whole path"
    ),
    "kind of no source": bad(GOOD.replace("path", 'kind = "fax"\npath'), 4, "'fax'", "'udp'"),
    "name with a blank": bad(GOOD.replace("path", 'name = "my radio"\npath'), 4, "'my radio'", "letters"),
    "one bracket": bad("[source]\npath = 'a'\n" + STATION, 1, "[[source]]", "two brackets"),
    "nine sources": bad(STATION + 9 * SOURCE, 3, "[[source]]", "at most 8"),
    "band of nobody": bad(GOOD + '[band]\nname = "7m"\n', 7, "'7m'", "6m", "low_mhz"),
    "name of no band": bad(GOOD + '[band]\nname = "../x"\n', 7, "'../x'", "6m"),
    "limits swapped": bad(
        GOOD + "[band]\nlow_mhz = 54\nhigh_mhz = 50\n", 7, "low_mhz = 54", "high_mhz = 50", "swap"
    ),
    "one limit": bad(GOOD + "[band]\nlow_mhz = 50\n", 6, "[band]", "both"),
    "certificate without tls": bad(GOOD + '[mqtt]\nca = "ca.pem"\n', 6, "[mqtt]", "tls = true"),
    "certificate without key": bad(GOOD + '[mqtt]\ntls = true\ncert = "c"\n', 6, "[mqtt]", "key"),
    "empty host": bad(GOOD + '[mqtt]\nhost = ""\n', 7, "[mqtt] host = ''", "empty"),
    "neighbours without encryption": bad(
        GOOD + '[neighbours]\ntls = false\nca = "ca.pem"\n', 6, "[neighbours]", "tls = true"
    ),
    "neighbours everywhere": bad(
        GOOD + "[neighbours]\nreach_km = 20000\n", 7, "[neighbours] reach_km = 20000", "500 or less"
    ),
    "feed without a receiver": bad(
        GOOD + FEED.replace('receiver = "/b"\n', ""),
        6,
        "[[neighbours.feed]] 1 receiver is missing",
        "/receiver",
    ),
    "pointer without its slash": bad(
        GOOD + FEED + FEED.replace('"/a"', '"a"'), 13, "[[neighbours.feed]] 2 call", "no JSON pointer", '"/a"'
    ),
    "misspelt key of a feed": bad(
        GOOD + FEED + FEED.replace("receiver =", "reciever ="),
        14,
        *("reciever", "[[neighbours.feed]] 2", "receiver?"),
    ),
    "topic of everything": bad(GOOD + FEED.replace("spots/", ""), 7, "topic = '#'", "no topic", "spots/6m/#"),
    "format of no time": bad(GOOD + FEED + 'time_format = "%Q"\n', 11, "time_format", "%Q"),
    "unit of no frequency": bad(GOOD + FEED + 'frequency_unit = "GHz"\n', 11, "'GHz'", "'kHz'"),
    "feed in one bracket": bad(
        GOOD + FEED.replace("[[neighbours.feed]]", "[neighbours.feed]"),
        6,
        "[[neighbours.feed]]",
        "two brackets",
    ),
    "nine feeds": bad(GOOD + 9 * FEED, 6, "[[neighbours.feed]]", "at most 8"),
    "glass of no maker": bad(GOOD + '[panel]\nsize = "1x1"\n', 7, "size = '1x1'", "250x122"),
    "open bracket": bad("[station\n", 1, "not TOML"),
    "no value": bad("[station]\nlocator = \n", 2, "not TOML"),
    "no quotes": bad("[station]\nlocator = FN84ab\n", 2, "not TOML"),
    "key set twice": bad(STATION + 'locator = "FN84ab"\n', 3, "not TOML"),
    "nest without end": bad("x = " + 5_000 * "[" + "\n", None, "not TOML"),
    "number without end": bad("x = 1" + 5_000 * "0" + "\n", None, "not TOML"),
    "huge number": bad(GOOD + "[mqtt]\nport = 0x" + 5_000 * "f" + "\n", 7, "port", "too long to show"),
    "nothing": bad("", None, "[station] is missing"),
}


def complaint(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """The one line on standard error of a command that must end with 2."""
    assert main(arguments) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.endswith("\n")
    line = said.err[:-1]
    assert line.isascii()
    assert line.isprintable(), "no line break, no escape sequence"
    assert line.startswith("sentinel: ")
    return line


@pytest.mark.parametrize("mistake", MISTAKES.values(), ids=MISTAKES.keys())
def test_a_mistake_is_one_sentence_with_its_place_and_mend(
    mistake: Bad, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "sentinel.toml"
    file.write_text(mistake.text, "utf-8")
    said = complaint(capsys, "check", "--config", str(file))
    place = re.escape(str(file)) + (rf", line {mistake.line}\b" if mistake.line else "(?!, line)")
    assert re.match(f"sentinel: {place}", said), said
    for word in mistake.words:
        assert word in said
    assert len(said) < len(str(file)) + 300


@pytest.mark.parametrize("command", ["run", "check", "replay"])
def test_every_command_that_reads_a_configuration_refuses_a_bad_one(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "sentinel.toml"
    file.write_text(GOOD + "[verdict]\nfar_km = -1\n", "utf-8")
    logs = ["night.log"] if command == "replay" else []
    assert "line 7: [verdict] far_km = -1" in complaint(capsys, command, *logs, "--config", str(file))


@pytest.mark.parametrize("command", ["run", "replay"])
def test_nothing_can_be_watched_without_a_source(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "sentinel.toml"
    file.write_text(STATION, "utf-8")
    logs = ["night.log"] if command == "replay" else []
    assert "[[source]] is missing; add" in complaint(capsys, command, *logs, "--config", str(file))


def binary(path: Path) -> None:
    path.write_bytes(b"\x89PNG\r\n\x1a\n\x00\xff\xfe")


def latin_1(path: Path) -> None:
    path.write_text(GOOD + "# Härte\n", "latin-1")


def large(path: Path) -> None:
    path.write_text(GOOD + "#\n" * (1 << 20), "utf-8")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (binary, ("UTF-8", "save it")),
        (latin_1, ("UTF-8", "save it")),
        (large, ("larger than a configuration", "right file?")),
        (Path.mkdir, ("directory", "mend")),
        (lambda path: None, ("no such file", "--config")),
    ],
    ids=["binary", "latin-1", "large", "directory", "missing"],
)
def test_what_is_no_configuration_is_named(
    make: Callable[[Path], None],
    words: tuple[str, ...],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = tmp_path / "sentinel.toml"
    make(file)
    said = complaint(capsys, "check", "--config", str(file))
    for word in (str(file), *words):
        assert word.lower() in said.lower()


@pytest.mark.parametrize(
    ("extra", "line", "words"),
    [
        ('[mqtt]\npassword_file = "secret"\n', 7, ("[mqtt] password_file = 'secret'", "create it")),
        ('[mqtt]\ntls = true\nca = "ca.pem"\n', 8, ("[mqtt] ca = 'ca.pem'", "create it")),
        ('[neighbours]\npassword_file = "s"\n', 7, ("[neighbours] password_file = 's'", "create it")),
        ('[panel]\npicture = "gone/p.png"\n', 7, ("[panel] picture = 'gone/p.png'", "create it")),
        ('[diary]\npath = "gone/d.sqlite"\n', 7, ("[diary] path = 'gone/d.sqlite'", "create it")),
        ("", 4, ("[[source]] 1 path = 'gone/x.log'", "gone", "create it")),
        ("", 4, ("[[source]] 1 path = '.'", "folder")),
    ],
)
def test_a_path_that_cannot_work_stops_the_daemon(
    extra: str, line: int, words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "sentinel.toml"
    source = re.search(r"path = '([^']+)'", words[0])
    path = source[1] if source and not extra else "decodes.log"
    file.write_text(GOOD.replace("decodes.log", path) + extra, "utf-8")
    said = complaint(capsys, "run", "--config", str(file))
    assert f"{file}, line {line}: " in said
    for word in words:
        assert word in said


def test_an_empty_password_file_stops_the_daemon_and_a_password_is_never_shown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state"))
    file, secret = tmp_path / "sentinel.toml", tmp_path / "secret"
    file.write_text(GOOD + '[mqtt]\nuser = "home"\npassword_file = "secret"\n', "utf-8")
    secret.write_text("\n", "utf-8")
    assert "line 8: [mqtt] password_file = 'secret' holds no password" in complaint(
        capsys, "run", "--config", str(file)
    )
    secret.write_text("hunter2" * 1000, "utf-8")
    assert "hunter2" not in complaint(capsys, "run", "--config", str(file))


def test_a_whole_configuration_becomes_settings(tmp_path: Path) -> None:
    file = tmp_path / "sentinel.toml"
    file.write_text(
        """\
        [station]
        locator = "fn84AB"
        callsign = "ve1qzz/p"
        [band]
        name = "4m"
        [receiver]
        canaries = ["VE1QBC"]
        canary_silence_min = 12.5
        line_silence_min = 10
        [[source]]
        name = "main"
        path = "decodes.log"
        layout = ["{utc:epoch} {message}", "--- {date:%Y-%m-%d} ---"]
        mode = "FT4"
        [[source]]
        kind = "udp"
        port = 52001
        layout = "json"
        [source.fields]
        utc = "/time"
        message = "/text"
        [verdict]
        far_km = 700
        window_min = 10
        """,
        "utf-8",
    )
    config = load(file)
    assert [source.compiled.mode for source in config.source] == ["FT4", None]
    settings = config.watch_settings()
    assert settings.home_locator == "FN84ab"
    assert settings.own_call == "VE1QZZ"
    assert settings.band == "4m"
    assert settings.covers(70.2)
    assert not settings.covers(50.313)
    assert settings.receiver.canaries == {"VE1QBC"}
    assert settings.receiver.canary_silence_s == 750
    assert settings.receiver.line_silence_s == 600
    assert (settings.far_km, settings.window_s) == (700, 600)
    assert [config.source_name(index) for index in range(2)] == ["main", "udp-2"]
    assert config.resolve("decodes.log") == tmp_path / "decodes.log"
    assert list(check_paths(config)) == []


@pytest.mark.parametrize(
    ("keys", "is_encrypted", "port"),
    [
        ({"host": "broker.example.org"}, True, 8883),
        ({"host": "192.168.1.2"}, True, 8883),
        ({"host": "broker.example.org", "port": 1883}, True, 1883),
        ({"host": "broker.example.org", "tls": False}, False, 1883),
        ({"host": "127.0.0.1"}, False, 1883),
        ({"host": "::1"}, False, 1883),
        ({"host": "localhost"}, False, 1883),
        ({"host": "localhost", "ca": "ca.pem"}, True, 8883),
        ({"host": "localhost", "tls": True}, True, 8883),
        ({"host": "localhost.example.org"}, True, 8883),
    ],
)
def test_what_leaves_this_computer_for_neighbours_is_encrypted_unless_told_otherwise(
    keys: dict[str, Any], is_encrypted: bool, port: int
) -> None:
    config = parse({"station": {"locator": "FN84"}, "neighbours": keys}, Path("x.toml"))
    assert config.neighbours is not None
    assert (config.neighbours.is_encrypted, config.neighbours.port_number) == (is_encrypted, port)


def test_the_reach_becomes_a_setting_of_the_watch() -> None:
    for keys, reach_km in (({}, 300), ({"neighbours": {"reach_km": 120}}, 120)):
        config = parse({"station": {"locator": "FN84"}, **keys}, Path("x.toml"))
        assert config.watch_settings().neighbours_km == reach_km


@pytest.mark.parametrize("raw", [GOOD.encode("utf-8-sig"), GOOD.replace("\n", "\r\n").encode()])
def test_a_file_saved_on_another_system_is_read(raw: bytes, tmp_path: Path) -> None:
    file = tmp_path / "sentinel.toml"
    file.write_bytes(raw)
    assert load(file).station.locator == "FN84ab"


def test_limits_of_its_own_need_no_known_band() -> None:
    table: dict[str, Any] = {
        "station": {"locator": "FN84"},
        "band": {"name": "8m", "low_mhz": 40, "high_mhz": 40.7},
    }
    assert parse(table, Path("x.toml")).band.limits_mhz() == (40, 40.7)


def keys_of(model: type) -> list[str]:
    return list(model.model_fields)  # type: ignore[attr-defined]


KNOWN_KEYS = sorted(
    {
        *keys_of(Config),
        *(
            key
            for field in Config.model_fields.values()
            for key in getattr(field.annotation, "model_fields", ())
        ),
        *("path", "layout", "kind", "fields", "port", "host", "json", "utc", "message"),
    }
)
KEYS = st.sampled_from(KNOWN_KEYS) | st.text(max_size=8)
SCALARS = (
    st.text(max_size=20)
    | st.sampled_from(["FN84ab", "VE1QZZ", "6m", "udp", "{utc} {message}", "json", "/a", "~", "~x/y", "\0"])
    | st.integers()
    | st.just(10**400)
    | st.floats()
    | st.booleans()
    | st.datetimes()
    | st.dates()
    | st.times()
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=12,
)


def check_or_complain(table: dict[str, Any], text: str = "") -> None:
    try:
        config = parse(table, Path("x.toml"), text)
    except ConfigError as error:
        said = str(error)
        assert said.startswith("x.toml")
        assert said.isprintable()
        return
    config.watch_settings()
    for fault in check_paths(config):
        assert fault.isprintable()


@given(st.dictionaries(KEYS, VALUES, max_size=6), st.text(max_size=60))
def test_any_table_is_settings_or_one_sentence(table: dict[str, Any], text: str) -> None:
    check_or_complain(table, text)


WHOLE: dict[str, Any] = {
    "station": {"locator": "FN84ab", "callsign": "VE1QZZ"},
    "band": {"name": "6m", "low_mhz": 50.0, "high_mhz": 54.0},
    "receiver": {"canaries": ["VE1QBC"], "canary_silence_min": 20, "line_silence_min": 0},
    "source": [{"kind": "file", "path": "a.log", "layout": "{utc} {message}", "port": 1, "mode": "FT8"}],
    "verdict": {"far_km": 500, "window_min": 15},
    "mqtt": {
        "host": "127.0.0.1",
        "port": 1883,
        "password_file": "p",
        "tls": True,
        "ca": "c",
        "discovery": True,
    },
    "diary": {"path": "d.sqlite", "keep_days": 10},
    "panel": {"size": "250x122", "picture": "p.png", "accent": False},
}


@given(section=st.sampled_from(sorted(WHOLE)), key=KEYS, value=VALUES, replaces_section=st.booleans())
@example(section="source", key="path", value="~x/y", replaces_section=False)
def test_a_good_table_with_one_thing_changed_is_settings_or_one_sentence(
    section: str, key: str, value: object, replaces_section: bool
) -> None:
    table = deepcopy(WHOLE)
    if replaces_section:
        table[section] = value
    elif section == "source":
        table[section][0][key] = value
    else:
        table[section][key] = value
    check_or_complain(table)


@given(raw=st.binary(max_size=200) | st.text(alphabet='[]{}"=.,\n#ab01 ', max_size=60).map(str.encode))
def test_any_bytes_are_settings_or_one_sentence(raw: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    file = tmp_path_factory.getbasetemp() / "any.toml"
    file.write_bytes(raw)
    try:
        load(file)
    except ConfigError as error:
        assert str(error).isprintable()


def test_further_bands_have_settings_of_their_own_and_the_receivers_belong_to_the_main_band() -> None:
    text = GOOD + '[band]\nalso = ["10m", "2m"]\n[receiver]\ncanaries = ["VE1QBC"]\nline_silence_min = 30\n'
    six, ten, two = parse(tomllib.loads(text), Path("a.toml"), text).all_watch_settings()
    assert [(each.band, each.low_mhz, each.high_mhz) for each in (six, ten, two)] == [
        ("6m", 50.0, 54.0), ("10m", 28.0, 29.7), ("2m", 144.0, 148.0),
    ]  # fmt: skip
    assert six.receiver.canaries == {"VE1QBC"}
    assert six.receiver.line_silence_s == 1800.0
    assert ten.receiver == two.receiver == ReceiverSettings()
    assert (ten.home_locator, ten.far_km) == (six.home_locator, six.far_km)


@pytest.mark.parametrize(
    ("settings", "freq_mhz", "band", "fed_mhz"),
    [
        ("", None, "6m", None),
        ("", 28.074, "10m", 28.074),
        ("", 14.074, "6m", 14.074),
        ('band = "10m"', None, "10m", None),
        ('band = "2m"', 28.174, "2m", None),  # behind a transverter
        ("freq_mhz = 28.074", None, "10m", None),
        ("freq_mhz = 28.074", 50.313, "6m", 50.313),
    ],
)
def test_a_sources_band_outranks_the_lines_frequency_and_that_its_usual_one(
    settings: str, freq_mhz: float | None, band: str, fed_mhz: float | None
) -> None:
    text = STATION + '[band]\nalso = ["10m", "2m"]\n' + SOURCE + f'name = "a"\n{settings}\n' + SOURCE
    choice = BandChoice(parse(tomllib.loads(text), Path("a.toml"), text))
    decode = Decode(0.0, "CQ W1QAA FN42", freq_mhz=freq_mhz, source="a")
    assert choice.choose(decode) == (band, replace(decode, freq_mhz=fed_mhz))
    if freq_mhz is None:
        assert choice.of_source("a") == band
