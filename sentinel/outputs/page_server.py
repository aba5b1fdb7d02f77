"""The web server behind the page: uvicorn, held to few connections and to no idle work."""

import asyncio
import socket
from asyncio import Transport
from collections.abc import Callable
from typing import Any

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from sentinel.outputs.page_guard import Guard

MOST_CONNECTIONS = 200
"""Sixty pages, each with its stream and what it loads meanwhile; the daemon needs the rest of the usual 1,024
descriptors for better things."""
FIRST_REQUEST_S = 10.0
"""Who connects and has not asked for anything by then is let go."""
KEEP_ALIVE_S = 5
GOODBYE_S = 2


async def serve(
    listener: socket.socket, app: Guard, ended: asyncio.Event, let_go: Callable[[], None]
) -> None:
    """Serve until ``ended``; then ``let_go`` asks the open streams to end."""
    config = uvicorn.Config(
        app,
        http=_Protocol,
        ws="none",
        lifespan="off",
        interface="asgi3",
        log_config=None,
        log_level="critical",  # what a visitor does is no news; what fails is logged by the guard
        access_log=False,
        proxy_headers=False,
        server_header=False,
        date_header=False,
        timeout_keep_alive=KEEP_ALIVE_S,
        timeout_graceful_shutdown=GOODBYE_S,
    )
    await _Server(config, ended, let_go).serve(sockets=[listener])


class _Server(uvicorn.Server):
    """Sleeps until it is to end, where uvicorn's own loop wakes ten times a second."""

    def __init__(self, config: uvicorn.Config, ended: asyncio.Event, let_go: Callable[[], None]) -> None:
        super().__init__(config)
        self._ended, self._let_go = ended, let_go

    async def main_loop(self) -> None:
        await self._ended.wait()
        self._let_go()


class _Protocol(H11Protocol):
    """One connection; those beyond the bound, and those that ask for nothing, are closed."""

    def connection_made(self, transport: Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        if len(self.connections) > MOST_CONNECTIONS:
            transport.abort()
            return
        self.loop.call_later(FIRST_REQUEST_S, self._hurry)

    def _hurry(self) -> None:
        transport: Any = self.transport
        if self.cycle is None and transport is not None:
            transport.abort()
