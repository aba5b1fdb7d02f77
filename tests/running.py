"""The daemon and a decoder as processes of their own, and a subscriber that sees only the broker."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import pytest
from broker import Listener, RealBroker
from command_line import SENTINEL
from nights import CONFIG, Heard

PATIENCE_S = 40.0
POLL_S = 0.02

Found = TypeVar("Found")


def eventually(look: Callable[[], Found | None], what: str, log: Path | None = None) -> Found:
    """What ``look`` finds in the end; fails the test when it finds nothing for long."""
    deadline = time.monotonic() + PATIENCE_S
    while not (found := look()):
        if time.monotonic() > deadline:
            pytest.fail(f"{what} did not come\n{log.read_text('utf-8') if log else ''}")
        time.sleep(POLL_S)
    return found


class Decoder:
    """A process that appends to a file what it is told, a slot's lines in one write."""

    PROGRAM = """
import sys
with open(sys.argv[1], "ab", buffering=0) as file:
    while size := sys.stdin.buffer.readline():
        file.write(sys.stdin.buffer.read(int(size)))
"""

    def __init__(self, path: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", self.PROGRAM, str(path)], stdin=subprocess.PIPE, bufsize=0
        )

    def write(self, text: str) -> None:
        """Append ``text`` as it is."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{len(text)}\n{text}".encode("ascii"))

    def hears(self, heard: Iterable[Heard]) -> None:
        """Append the lines of these decodes."""
        self.write("".join(one.line() + "\n" for one in sorted(heard)))

    def close(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        assert self._process.wait(PATIENCE_S) == 0


@contextmanager
def decoder(path: Path) -> Iterator[Decoder]:
    process = Decoder(path)
    try:
        yield process
    finally:
        process.close()


class Daemon:
    """``sentinel run`` in a folder of its own."""

    def __init__(self, folder: Path, port: int | None, extra: str = "", mqtt: str = "") -> None:
        self.log = folder / "daemon.log"
        self.state = folder / "state"
        config = folder / "sentinel.toml"
        broker = "" if port is None else f'[mqtt]\nhost = "127.0.0.1"\nport = {port}\n{mqtt}\n'
        config.write_text(CONFIG + extra + broker, "utf-8")
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [*SENTINEL, "run", "--config", str(config)],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                env={**os.environ, "STATE_DIRECTORY": str(self.state)},
            )

    def says(self, words: str) -> None:
        """Wait until the log holds these words."""
        eventually(lambda: words in self.log.read_text("utf-8"), f"{words!r} in the log", self.log)

    def stop(self, number: int) -> None:
        """Send a signal; the daemon must end well."""
        self.process.send_signal(number)
        assert self.process.wait(PATIENCE_S) == 0, self.log.read_text("utf-8")


@contextmanager
def daemon(folder: Path, port: int | None, extra: str = "", mqtt: str = "") -> Iterator[Daemon]:
    running = Daemon(folder, port, extra, mqtt)
    try:
        yield running
    finally:
        if running.process.poll() is None:
            running.process.kill()
        running.process.wait(PATIENCE_S)


class Subscriber(Listener):
    """Hears everything that the daemon says."""

    def __init__(self, broker: RealBroker, topic_filter: str = "sentinel/v1/#") -> None:
        super().__init__(broker, topic_filter)

    def messages(self, level: str) -> list[dict[str, Any]]:
        """The JSON messages on topics that end with ``level``."""
        return [json.loads(payload) for topic, payload in self.payloads() if topic.endswith(level)]

    def states(self) -> list[str]:
        """The states heard, each change once."""
        told = [message["state"] for message in self.messages("/6m/state")]
        return [state for number, state in enumerate(told) if number == 0 or told[number - 1] != state]

    def wait_for_state(self, state: str, log: Path) -> dict[str, Any]:
        """The message that says so, once it is the newest."""

        def newest() -> dict[str, Any] | None:
            told = self.messages("/6m/state")
            return told[-1] if told and told[-1]["state"] == state else None

        return eventually(newest, f"state {state}", log)

    def events(self) -> list[str]:
        return [message["event_type"] for message in self.messages("/6m/event")]

    def status(self) -> list[bytes]:
        return [payload for topic, payload in self.payloads() if topic.endswith("/status")]
