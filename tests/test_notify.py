"""What reaches the service manager's socket. Source of the protocol: sd_notify(3), sd_watchdog_enabled(3)."""

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from sentinel import notify


@pytest.fixture(params=["file", "abstract"])
def manager(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[socket.socket]:
    """A service manager's end of the socket, in the file system and in the abstract name space."""
    name = str(tmp_path / "notify") if request.param == "file" else f"@sentinel-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.bind(name.replace("@", "\0", 1) if name[0] == "@" else name)
        channel.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        yield channel


def test_each_call_is_one_datagram(manager: socket.socket) -> None:
    assert all((notify.ready(), notify.status("quiet: nothing far"), notify.watchdog(), notify.stopping()))
    told = [manager.recv(4096) for _ in range(4)]
    assert told == [b"READY=1", b"STATUS=quiet: nothing far", b"WATCHDOG=1", b"STOPPING=1"]


@pytest.mark.parametrize(
    "text", ["quiet\nMAINPID=1", "quiet\r\nSTOPPING=1", "caf\u00e9 \u202e \x1b[2J", "\0", "x" * 100_000]
)
def test_a_status_is_one_printable_line_whatever_came_off_the_air(manager: socket.socket, text: str) -> None:
    assert notify.status(text)
    told = manager.recv(200_000).decode("ascii")
    assert told.startswith("STATUS=")
    assert told.isprintable()
    assert len(told) <= len("STATUS=") + notify.LONGEST_STATUS


def test_without_a_service_manager_nothing_is_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert not any((notify.ready(), notify.status("quiet"), notify.watchdog(), notify.stopping()))


@pytest.mark.parametrize(
    "address", ["", "relative", "vsock:2:1", "/nowhere/at/all", "/" + "x" * 200, "@" + "x" * 200]
)
def test_an_address_that_cannot_be_reached_is_no_error(monkeypatch: pytest.MonkeyPatch, address: str) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", address)
    assert not notify.ready()


def test_a_manager_that_does_not_read_never_holds_the_daemon_up(manager: socket.socket) -> None:
    sent = [notify.watchdog() for _ in range(2_000)]
    assert sent[0]
    assert not sent[-1]


@pytest.mark.parametrize(
    ("environment", "interval_s"),
    [
        ({"WATCHDOG_USEC": "60000000"}, 30.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": str(os.getpid())}, 30.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "-5"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": "\u0665"}, None),
        ({}, None),
    ],
)
def test_progress_is_shown_in_half_the_managers_limit(
    monkeypatch: pytest.MonkeyPatch, environment: dict[str, str], interval_s: float | None
) -> None:
    for name in ("WATCHDOG_USEC", "WATCHDOG_PID"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert notify.watchdog_interval_s() == interval_s
