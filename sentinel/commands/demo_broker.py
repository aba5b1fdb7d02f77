"""A broker of the demo's own, on loopback, in a thread with an event loop of its own (amqtt, MQTT 3.1.1)."""

import asyncio
import logging
import socket
import threading
from types import TracebackType
from typing import Self

from sentinel.errors import RunError

START_PATIENCE_S = 20.0


class EmbeddedBroker:
    """Serves on ``port`` of 127.0.0.1 between ``with`` and its end. Raises RunError if it cannot start."""

    def __init__(self) -> None:
        self.port = _free_port()
        self._is_up = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()), name="broker", daemon=True)

    def __enter__(self) -> Self:
        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        self._thread.start()
        if not self._is_up.wait(START_PATIENCE_S):
            raise RunError(f"the demo's broker did not start on 127.0.0.1:{self.port}")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._loop.call_soon_threadsafe(self._leave.set)
        self._thread.join(START_PATIENCE_S)

    async def _serve(self) -> None:
        from amqtt.broker import Broker

        self._loop, self._leave = asyncio.get_running_loop(), asyncio.Event()
        listener = {"type": "tcp", "bind": f"127.0.0.1:{self.port}"}
        anonymous = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}
        broker = Broker({"listeners": {"default": listener}, "plugins": anonymous})
        await broker.start()
        self._is_up.set()
        await self._leave.wait()
        await broker.shutdown()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
