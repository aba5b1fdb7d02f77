"""A real broker for tests: mosquitto on loopback, on a port of its own, its log captured.

    with RealBroker(tmp_path, users={"home": "secret"}, acl="user home\\ntopic read #") as broker:
        connect(broker.host, broker.port)

Where mosquitto is not installed the test is skipped, unless SENTINEL_REQUIRE_BROKER=1, as in CI, makes that
a failure.
"""

import base64
import hashlib
import os
import shutil
import socket
import subprocess
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

import pytest
from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.subscribeoptions import SubscribeOptions

ENDED = "(the broker has ended)"
START_PATIENCE_S = 20.0
PORT_TRIES = 5


@dataclass(frozen=True)
class TlsFiles:
    """Paths of PEM files: the authority's certificate, the broker's and its key."""

    ca: Path
    cert: Path
    key: Path


def mosquitto_program() -> str:
    """The path of mosquitto; skips or fails the test where there is none."""
    found = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
    if found is None:
        reason = "mosquitto is not installed (Debian: apt-get install mosquitto)"
        if os.environ.get("SENTINEL_REQUIRE_BROKER") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    return found


def free_port() -> int:
    """A loopback port that was free a moment ago."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])


def password_line(user: str, password: str) -> str:
    """A line of mosquitto's password file: PBKDF2 with SHA-512, as ``mosquitto_passwd`` writes it."""
    salt, rounds = b"twelve bytes", 101  # mosquitto 2.0 takes no other length
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, rounds)
    return f"{user}:$7${rounds}${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}\n"


class RealBroker:
    """Runs mosquitto while in context; ``stop`` and ``start`` in between make an outage on the same port.

    ``options`` are further lines for its configuration; ``config`` makes all of it, given the port.
    """

    host = "127.0.0.1"

    def __init__(
        self,
        directory: Path,
        *,
        users: Mapping[str, str] | None = None,
        acl: str | None = None,
        tls: TlsFiles | None = None,
        options: str = "",
        config: Callable[[int], str] | None = None,
    ) -> None:
        self._program = mosquitto_program()
        self._directory = directory
        self._users = users
        self._acl = acl
        self._tls = tls
        self._options = options
        self._whole_config = config
        self._process: subprocess.Popen[str] | None = None
        self._logged = threading.Condition()
        self.port = 0
        self.log: list[str] = []

    def __enter__(self) -> "RealBroker":
        for _ in range(PORT_TRIES):
            self.port = free_port()
            if self._try_to_start():
                return self
        pytest.fail("mosquitto does not start:\n" + "\n".join(self.log))

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    @property
    def pid(self) -> int:
        """Its process, while it runs."""
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        """Start again after ``stop``, on the same port, with nothing remembered."""
        assert self._try_to_start(), "\n".join(self.log)

    def stop(self) -> None:
        """End the broker and wait until it has ended."""
        process, self._process = self._process, None
        if process is None:
            return
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(10)
        self._reader.join(10)
        assert process.stderr is not None
        process.stderr.close()

    def wait_for_log(self, text: str, timeout_s: float = 10.0) -> str:
        """The first log line that contains ``text``; fails the test when none comes."""
        with self._logged:
            self._logged.wait_for(lambda: any(text in line for line in self.log), timeout_s)
            for line in self.log:
                if text in line:
                    return line
        pytest.fail(f"the broker never logged {text!r}:\n" + "\n".join(self.log))

    def _config(self) -> str:
        if self._whole_config is not None:
            return self._whole_config(self.port)
        lines = [f"listener {self.port} {self.host}", "log_type all", "persistence false"]
        if os.geteuid() == 0:
            lines.append("user root")  # else it could not read the test's files
        if self._users is None:
            lines.append("allow_anonymous true")
        else:
            accounts = self._directory / "passwords"
            accounts.write_text("".join(password_line(u, p) for u, p in self._users.items()), "utf-8")
            lines += ["allow_anonymous false", f"password_file {accounts}"]
        if self._acl is not None:
            rules = self._directory / "acl"
            rules.write_text(self._acl, "utf-8")
            lines.append(f"acl_file {rules}")
        if self._tls is not None:
            lines += [f"cafile {self._tls.ca}", f"certfile {self._tls.cert}", f"keyfile {self._tls.key}"]
        return "\n".join([*lines, self._options, ""])

    def _try_to_start(self) -> bool:
        self.log.clear()
        config = self._directory / "mosquitto.conf"
        config.write_text(self._config(), "utf-8")
        self._process = subprocess.Popen(
            [self._program, "-c", str(config)], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
        )
        self._reader = threading.Thread(target=self._read_log, args=(self._process,), daemon=True)
        self._reader.start()
        with self._logged:
            self._logged.wait_for(lambda: self._is_up() or self._has_ended(), START_PATIENCE_S)
            is_up = self._is_up()
        if not is_up:
            self.stop()
        return is_up

    def _is_up(self) -> bool:
        return any(line.endswith("running") for line in self.log)

    def _has_ended(self) -> bool:
        return bool(self.log) and self.log[-1] == ENDED

    def _read_log(self, process: "subprocess.Popen[str]") -> None:
        assert process.stderr is not None
        for line in process.stderr:
            self._note(line.rstrip())
        self._note(ENDED)

    def _note(self, line: str) -> None:
        with self._logged:
            self.log.append(line)
            self._logged.notify_all()


class Listener:
    """A second client that keeps what it hears, over MQTT 5 so that expiry and retain flags show."""

    def __init__(self, broker: RealBroker, topic_filter: str = "#", qos: int = 1, **login: str) -> None:
        self.heard: list[mqtt.MQTTMessage] = []
        self._changed = threading.Condition()
        self._is_subscribed = False
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        if login:
            self._client.username_pw_set(login["user"], login["password"])
        self._client.on_message = self._note
        self._client.on_subscribe = self._subscribed
        self._client.on_connect = lambda client, *_: client.subscribe(
            topic_filter, options=SubscribeOptions(qos=qos, retainAsPublished=True)
        )
        self._address = (broker.host, broker.port)

    def __enter__(self) -> "Listener":
        self._client.connect(*self._address)
        self._client.loop_start()
        with self._changed:
            assert self._changed.wait_for(lambda: self._is_subscribed, 10)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        self._client.on_message = self._client.on_subscribe = self._client.on_connect = None

    def publish(self, topic: str, payload: bytes | None, retain: bool = False) -> None:
        """Publish at QoS 1 and wait until the broker has it."""
        self._client.publish(topic, payload, 1, retain).wait_for_publish(10)

    def ask(self) -> None:
        """Subscribe once more and wait for the answer: at QoS 0 what was for us before has come."""
        with self._changed:
            self._is_subscribed = False
        self._client.subscribe("nothing/of/interest")
        with self._changed:
            assert self._changed.wait_for(lambda: self._is_subscribed, 10)

    def wait_for(self, topic: str, payload: bytes | None = None, timeout_s: float = 10.0) -> mqtt.MQTTMessage:
        """The first message on ``topic`` (with ``payload``, if given); fails the test when none comes."""

        def found() -> mqtt.MQTTMessage | None:
            return next(
                (m for m in self.heard if m.topic == topic and payload in (None, m.payload)),
                None,
            )

        with self._changed:
            self._changed.wait_for(lambda: found() is not None, timeout_s)
            message = found()
        assert message is not None, f"nothing on {topic}: {self.payloads()}"
        return message

    def wait_for_count(self, topic: str, count: int, timeout_s: float = 10.0) -> None:
        """Wait for the ``count``-th message on ``topic``; fails the test when it does not come."""
        with self._changed:
            assert self._changed.wait_for(
                lambda: sum(m.topic == topic for m in self.heard) >= count, timeout_s
            ), f"fewer than {count} on {topic}"

    def payloads(self, topic: str | None = None) -> list[tuple[str, bytes]]:
        """What was heard so far, in order."""
        with self._changed:
            return [(m.topic, m.payload) for m in self.heard if topic in (None, m.topic)]

    def _note(self, _client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        with self._changed:
            self.heard.append(message)
            self._changed.notify_all()

    def _subscribed(self, *_args: object) -> None:
        with self._changed:
            self._is_subscribed = True
            self._changed.notify_all()
