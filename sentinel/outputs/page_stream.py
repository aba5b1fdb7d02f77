"""The stream of server-sent events (WHATWG HTML, 9.2): one bulletin at a time, and signs of life between.

    event: bulletin        the band as it stands, when it has changed
    event: beat            every ``BEAT_S``: the moment the watch has come to, and how old that is

The browser reconnects by itself; a reader that is too slow misses what was overtaken, never the latest.
"""

import asyncio
from collections.abc import Callable
from contextlib import suppress

from sentinel.outputs.page_guard import Receive, Scope, Send, refuse
from sentinel.outputs.page_mailbox import Mailbox, Told
from sentinel.outputs.page_view import beat
from sentinel.outputs.values import to_json

BEAT_S = 15.0
"""Shorter than what home routers and browsers take for a dead connection (common practice, no source)."""
BREATH_S = 1.0
"""Between two bulletins: a demo in compressed time would bring a hundred a second."""
SEND_S = 20.0
"""A reader that takes no byte for so long is let go."""
RECONNECT_MS = 3000
MOST_STREAMS = 60
"""Pages open at once; each holds a connection, and the daemon needs its descriptors for better things."""


class EventStream:
    """Tells everybody who listens; ``render`` makes the bulletin's JSON, once for all of them."""

    def __init__(
        self, mailbox: Mailbox, band_of: Callable[[Scope], str | None], render: Callable[[Told], bytes]
    ) -> None:
        self._mailbox = mailbox
        self._band_of = band_of
        self._render = render
        self._listening: set[asyncio.Task[None]] = set()
        self._is_closing = False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        band = self._band_of(scope)
        if band is None:
            await refuse(send, 404, "There is no such band here.")
        elif len(self._listening) >= MOST_STREAMS or self._is_closing:
            await refuse(send, 503, "Too many pages are open; close some.")
        else:
            gone = asyncio.create_task(_gone(receive))
            self._listening.add(gone)
            try:
                with suppress(TimeoutError):  # too slow a reader: the server closes what we leave open
                    await self._tell(band, gone, send, only_head=scope["method"] == "HEAD")
            finally:
                self._listening.discard(gone)
                gone.cancel()

    def close(self) -> None:
        """Let every listener go, and take no more."""
        self._is_closing = True
        for gone in self._listening:
            gone.cancel()

    async def _tell(self, band: str, gone: "asyncio.Task[None]", send: Send, only_head: bool) -> None:
        headers = [(b"content-type", b"text/event-stream"), (b"cache-control", b"no-store")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        chunk, shown = b"retry: %d\n\n" % RECONNECT_MS, -1
        while not (only_head or gone.done()):
            told = self._mailbox.latest(band)
            chunk += b"event: beat\ndata: " + to_json(beat(told)).encode() + b"\n\n"
            if told is not None and told.number != shown:
                shown = told.number
                chunk += b"event: bulletin\ndata: " + self._render(told) + b"\n\n"
            async with asyncio.timeout(SEND_S):
                await send({"type": "http.response.body", "body": chunk, "more_body": True})
            chunk = b""
            await self._pause(band, shown, gone)
        await send({"type": "http.response.body", "body": b""})

    async def _pause(self, band: str, shown: int, gone: "asyncio.Task[None]") -> None:
        """Until there is news of this band, or a beat is due, or the listener has gone; but take a breath."""
        breath = asyncio.create_task(asyncio.sleep(BREATH_S))
        await asyncio.wait({breath, gone}, return_when=asyncio.FIRST_COMPLETED)
        breath.cancel()
        told = self._mailbox.latest(band)
        if gone.done() or (told is not None and told.number != shown):
            return
        news = asyncio.create_task(self._mailbox.news(BEAT_S))
        await asyncio.wait({news, gone}, return_when=asyncio.FIRST_COMPLETED)
        news.cancel()


async def _gone(receive: Receive) -> None:
    """Return when the listener has closed the connection."""
    while (await receive())["type"] != "http.disconnect":
        pass
