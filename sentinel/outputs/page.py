"""The status page: a small web server in a thread of its own, which only shows and never decides.

It reads two things, the bulletins handed in by ``put`` and the diary through a read-only connection, and it
changes nothing: every request but reading is refused. Loopback unless the operator says otherwise.

The server needs the extra ``page`` (starlette, uvicorn), imported by the thread and not before: a daemon
without a page does not carry them.
"""

import asyncio
import ipaddress
import logging
import os
import secrets
import socket
import threading
from dataclasses import dataclass, field
from importlib.util import find_spec
from itertools import chain, repeat
from pathlib import Path

from sentinel.errors import ConfigError
from sentinel.outputs.page_guard import Guard, Visitors
from sentinel.outputs.page_mailbox import Mailbox
from sentinel.outputs.page_view import Furnishings
from sentinel.watch.bulletin import Bulletin, Part

NEEDED = ("starlette", "uvicorn")
AGAIN_S = (1.0, 5.0, 15.0, 60.0)
"""Pauses before the port is tried again."""
STOP_PATIENCE_S = 5.0

log = logging.getLogger("sentinel.page")


@dataclass(frozen=True, slots=True)
class PageSettings:
    """Where the page listens and who may look; port 0 takes any that is free."""

    diary: Path
    host: str = "127.0.0.1"
    port: int = 8506
    visitors: Visitors = field(default_factory=Visitors)


def need_extra() -> None:
    """Raises ConfigError where the extra ``page`` is not installed."""
    if not all(map(find_spec, NEEDED)):
        raise ConfigError(
            "[page] needs starlette and uvicorn: pip install 'vhf-sentinel[page]', or remove [page]"
        )


class StatusPage:
    """``start``, then ``put`` every bulletin, and ``stop``."""

    def __init__(self, settings: PageSettings, furnishings: Furnishings) -> None:
        self._settings = settings
        self._furnishings = furnishings
        self._mailbox = Mailbox()
        self._stopping = threading.Event()
        self._trouble = ""
        self._address: tuple[str, int] | None = None
        self._changed = threading.Condition()
        self._end: tuple[asyncio.AbstractEventLoop, asyncio.Event] | None = None
        self._thread = threading.Thread(target=self._run, name="page", daemon=True)

    def start(self) -> None:
        """Begin to listen. Raises ConfigError without the extra ``page``; a port that is taken is a part that
        is not well, and is tried again."""
        need_extra()
        if not ipaddress.ip_address(self._settings.host).is_loopback:
            log.warning(
                "the status page listens on %s: whoever is allowed on that network sees where this station "
                "is and what it hears",
                self._settings.host,
            )
        self._thread.start()

    def put(self, bulletin: Bulletin, is_muted: bool = False) -> None:
        """Show this bulletin; never waits."""
        self._mailbox.put(bulletin, is_muted)

    def wait_listening(self, timeout_s: float) -> tuple[str, int] | None:
        """Host and port as soon as the page can be reached, None if it cannot within ``timeout_s``."""
        with self._changed:
            self._changed.wait_for(lambda: self._address is not None, timeout_s)
            return self._address

    def part(self) -> Part:
        """The page as a part of the station."""
        with self._changed:
            is_well = None if self._address is None and not self._trouble else not self._trouble
            return Part("page", is_well, self._trouble)

    def stop(self, timeout_s: float = STOP_PATIENCE_S) -> bool:
        """Let every visitor go; True if that took no longer than ``timeout_s``."""
        self._stopping.set()
        with self._changed:
            if self._end is not None:
                loop, ended = self._end
                loop.call_soon_threadsafe(ended.set)
        if self._thread.is_alive():
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    # --- the thread ---------------------------------------------------------------------------------

    def _run(self) -> None:
        for pause_s in chain(AGAIN_S, repeat(AGAIN_S[-1])):
            try:
                with self._listen() as listener:
                    asyncio.run(self._serve(listener))
            except Exception as error:  # whatever fails here, the watch goes on
                why = os.strerror(error.errno or 0) if isinstance(error, OSError) else type(error).__name__
                if not self._trouble:
                    log.error(
                        "the status page cannot be shown on %s: %s; it is tried again",
                        self._where,
                        why,
                        exc_info=not isinstance(error, OSError),
                    )
                with self._changed:
                    self._trouble = f"cannot be shown on {self._where}: {why}"
            if self._stopping.wait(pause_s):
                return

    def _listen(self) -> socket.socket:
        host, port = self._settings.host, self._settings.port
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        return socket.create_server((host, port), family=family, backlog=64)

    @property
    def _where(self) -> str:
        return f"{self._settings.host} port {self._settings.port}"

    async def _serve(self, listener: socket.socket) -> None:
        from sentinel.outputs.page_app import PageApp
        from sentinel.outputs.page_server import serve

        loop, ended = asyncio.get_running_loop(), asyncio.Event()
        app = PageApp(self._mailbox, self._furnishings, self._settings.diary, secrets.token_hex(4))
        self._mailbox.attach(loop)
        if self._trouble:
            log.warning("the status page can be shown again")
        with self._changed:
            self._end = loop, ended
            self._trouble, self._address = "", listener.getsockname()[:2]
            self._changed.notify_all()
        if self._stopping.is_set():
            ended.set()
        try:
            await serve(listener, Guard(app.asgi, self._settings.visitors), ended, app.close)
        finally:
            self._mailbox.attach(None)
            with self._changed:
                self._end, self._address = None, None
