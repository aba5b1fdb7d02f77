"""The unit and what belongs to it: rules that keep it running for years and the secret out of it.

Source of the rules: systemd.exec(5), systemd.service(5), systemd.unit(5), sysusers.d(5). ``systemd-analyze``
itself judges the unit where it is installed.
"""

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from sentinel.config import load

ROOT = Path(__file__).parents[1]
UNIT = ROOT / "systemd" / "sentinel.service"
SYSUSERS = ROOT / "systemd" / "sentinel.sysusers"
EXAMPLE = ROOT / "config" / "sentinel.toml"
WORST_EXPOSURE = 1.5
LIMIT_PERCENT = 15  # the same, as --threshold counts it

needs_analyze = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed on this computer"
)


def settings(section: str) -> dict[str, list[str]]:
    """Key to its values in order, as systemd reads one section."""
    found: dict[str, list[str]] = {}
    inside = ""
    for line in UNIT.read_text("utf-8").splitlines():
        if line.startswith("["):
            inside = line.strip("[]")
        elif inside == section and "=" in line and not line.startswith("#"):
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


def service(key: str) -> str:
    (value,) = settings("Service")[key]
    return value


def test_it_is_never_given_up() -> None:
    assert settings("Unit")["StartLimitIntervalSec"] == ["0"]
    assert service("Restart") == "always"
    assert service("RestartSec") == "10"


def test_readiness_and_progress_are_awaited() -> None:
    assert service("Type") == "notify"
    assert 30 <= int(service("WatchdogSec")) <= 300


def test_only_the_operators_own_mistake_ends_it() -> None:
    """2 is what a configuration that is wrong exits with; it does not mend itself."""
    assert service("RestartPreventExitStatus") == "2"


def test_it_waits_for_neither_network_nor_clock_nor_broker() -> None:
    names = " ".join(
        value for key in ("After", "Wants", "Requires") for value in settings("Unit").get(key, [])
    )
    assert not re.search("online|time-sync|mosquitto", names)


def test_the_passwords_are_credentials_and_nowhere_else() -> None:
    names = ["mqtt-password", "neighbours-password"]
    assert settings("Service")["LoadCredential"] == [f"{name}:/etc/sentinel/{name}" for name in names]
    shown = "\n".join(f"{key}={value}" for key, values in settings("Service").items() for value in values)
    assert not re.search("SetCredential|EnvironmentFile|PASS(WORD)?=", shown)
    install = (ROOT / "systemd" / "install").read_text("utf-8")
    assert 'put 0600 /dev/null "$password"' in install  # a unit with no such file exits 243
    assert all(f'"$etc/{name}"' in install for name in names)


def test_the_example_names_the_files_that_the_unit_hands_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before the first start, as in ``sentinel check``, the file itself is read; in the service its copy."""
    full = tmp_path / "full.toml"
    full.write_text(with_every_key("count"), "utf-8")
    config = load(full)
    assert config.mqtt is not None
    assert config.neighbours is not None
    written = [config.mqtt.password_file, config.neighbours.password_file]
    assert written == [line.partition(":")[2] for line in settings("Service")["LoadCredential"]]
    for path in filter(None, written):
        monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
        assert config.resolve_secret(path) == Path(path)
        monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
        assert config.resolve_secret(path) == Path(path)
        handed_over = tmp_path / Path(path).name
        handed_over.write_text("a secret\n", "utf-8")
        assert config.resolve_secret(path) == handed_over


def test_devices_are_open_by_group_and_by_rule() -> None:
    members = re.findall(r"^m sentinel (\w+)$", SYSUSERS.read_text("utf-8"), re.M)
    made = re.findall(r"^g (\w+) -$", SYSUSERS.read_text("utf-8"), re.M)
    assert sorted(members) == sorted(made) == ["dialout", "gpio", "spi"]
    assert service("DevicePolicy") == "closed"
    assert {"char-gpiochip rw", "char-spi rw", "char-ttyUSB rw", "char-ttyACM rw"} <= set(
        settings("Service")["DeviceAllow"]
    )
    loaded = " ".join(settings("Unit")["Wants"])
    assert all(f"modprobe@{module}.service" in loaded for module in ("spidev", "cdc_acm", "usbserial"))
    assert "PrivateDevices" not in settings("Service")  # would hide what is plugged in later
    assert "ProcSubset" not in settings("Service")  # gpiozero reads the board's revision in /proc


def test_what_is_written_goes_to_directories_that_systemd_makes() -> None:
    assert service("StateDirectory") == "sentinel"
    assert service("WorkingDirectory") == "%t/" + service("RuntimeDirectory")
    assert f"LG_WD={service('WorkingDirectory')}" in service("Environment")
    assert service("ProtectSystem") == "strict"


def test_text_off_the_air_cannot_choose_its_level_in_the_journal() -> None:
    assert service("SyslogLevelPrefix") == "no"


def test_it_starts_what_the_installer_installs() -> None:
    assert service("ExecStart") == "/opt/sentinel/venv/bin/sentinel run --config /etc/sentinel/sentinel.toml"
    scripts = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["scripts"]
    assert "sentinel" in scripts


@needs_analyze
def test_its_exposure_is_low() -> None:
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", f"--threshold={LIMIT_PERCENT}", UNIT],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    level = re.search(r"Overall exposure level for sentinel.service: ([\d.]+)", done.stdout)
    assert level is not None
    assert float(level[1]) <= WORST_EXPOSURE


@needs_analyze
def test_it_is_well_formed(tmp_path: Path) -> None:
    copy = tmp_path / UNIT.name
    copy.write_text(
        UNIT.read_text("utf-8").replace("/opt/sentinel/venv/bin/sentinel", sys.executable), "utf-8"
    )
    environment = os.environ | {"SYSTEMD_LOG_LEVEL": "warning"}
    done = subprocess.run(
        ["systemd-analyze", "verify", copy], capture_output=True, text=True, check=False, env=environment
    )
    assert done.returncode == 0, done.stderr
    assert UNIT.name not in done.stderr  # what it says of other units of this computer is not ours


# --- the example configuration ----------------------------------------------------------------------------


def test_the_example_configuration_is_valid() -> None:
    assert load(EXAMPLE).station.locator


def with_every_key(without: str) -> str:
    """The example with each key that it only shows set, but for one that excludes another."""
    return re.sub(rf"(?m)^#(?=\[+[\w.]+\]+$|(?!{without} )\w+ = )", "", EXAMPLE.read_text("utf-8"))


@pytest.mark.parametrize(("without", "arrangement"), [("count", "one"), ("pins", "bar")])
def test_every_key_that_the_example_explains_exists(tmp_path: Path, without: str, arrangement: str) -> None:
    full = tmp_path / "full.toml"
    full.write_text(
        with_every_key(without).replace('arrangement = "one"', f'arrangement = "{arrangement}"'), "utf-8"
    )
    config = load(full)
    for section in type(config).model_fields:
        assert getattr(config, section) is not None, section
    assert config.receiver.canaries
    assert config.log.adif


def test_the_example_says_the_defaults_as_they_are(tmp_path: Path) -> None:
    """Keys shown with a hash sign stand for the default, or for an example where there is none."""
    least = tmp_path / "least.toml"
    least.write_text(
        '[station]\nlocator = "FN84ab"\n[mqtt]\n[[source]]\npath = "x"\nlayout = "{utc:epoch} {message}"\n',
        "utf-8",
    )
    full = tmp_path / "full.toml"
    full.write_text(with_every_key("count"), "utf-8")
    default, shown = load(least), load(full)
    for section, key in (
        ("receiver", "canary_silence_min"), ("receiver", "line_silence_min"), ("verdict", "far_km"),
        ("verdict", "window_min"), ("diary", "keep_days"), ("diary", "max_mb"), ("panel", "size"),
        ("panel", "accent"), ("mqtt", "host"), ("mqtt", "discovery"), ("band", "name"),
    ):  # fmt: skip
        assert getattr(getattr(shown, section), key) == getattr(getattr(default, section), key), key
