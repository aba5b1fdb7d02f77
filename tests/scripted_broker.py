"""A broker that misbehaves as told: it answers each connection with given bytes, or with silence.

Packets are written out from the standard (OASIS MQTT 3.1.1 and 5.0), not made by the library under test.
"""

import socket
import threading
from collections.abc import Callable
from types import TracebackType

CONNACK_V5 = bytes([0x20, 3, 0, 0, 0])  # accepted, no properties
CONNACK_V311 = bytes([0x20, 2, 0, 0])  # accepted
REFUSED_BY_V5_BROKER = bytes([0x20, 3, 0, 0x84, 0])  # 5.0, table 3-1: unsupported protocol version
REFUSED_BY_V311_BROKER = bytes([0x20, 2, 0, 1])  # 3.1.1, table 3.1: unacceptable protocol level

Answer = Callable[[socket.socket, int], None]


class ScriptedBroker:
    """Listens while in context; ``answer(connection, protocol_level)`` runs for each CONNECT.

    ``levels`` are the protocol levels asked for, in order: 5, or 4 for MQTT 3.1.1.
    """

    host = "127.0.0.1"

    def __init__(self, answer: Answer) -> None:
        self._answer = answer
        self._open: list[socket.socket] = []
        self.levels: list[int] = []

    def __enter__(self) -> "ScriptedBroker":
        self._server = socket.create_server((self.host, 0))
        self.port = int(self._server.getsockname()[1])
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._thread.join(10)
        for connection in self._open:
            connection.close()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:
                return
            self._open.append(connection)
            connection.settimeout(10)
            try:
                level = protocol_level(connection.recv(4096))
                self.levels.append(level)
                self._answer(connection, level)
            except OSError:
                continue


def protocol_level(connect: bytes) -> int:
    """The byte after the protocol name "MQTT" in a CONNECT packet (3.1.1 and 5.0, section 3.1.2.2)."""
    return connect[connect.index(b"\x00\x04MQTT") + 6]
