"""The addresses of the page: what each answers, and from where it has the answer.

======================  ==========================================================================
``/``                   the page itself; it has nothing of the band in it
``/assets/...``         its scripts, style, signs and type, read once at the start
``/about.json``         the bands, the station's place, the version
``/events?band=``       the band as it stands, and every change (``page_stream``)
``/coasts.json?band=``  the coasts around the station
``/day.json?band=``     the last 24 hours, from the diary
``/openings.json?...``  the diary's openings: ``days``, ``from``, ``mode``, ``stations``
``/months.json?band=``  hour by month, from the diary
``/panel.png?band=``    what the panel shows
======================  ==========================================================================
"""

import asyncio
import hashlib
import time
from collections.abc import Callable
from functools import partial
from importlib.resources import files
from pathlib import Path
from sqlite3 import Connection
from urllib.parse import parse_qs

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from sentinel.errors import ConfigError
from sentinel.outputs import page_record
from sentinel.outputs.diary_file import DiaryUnavailable
from sentinel.outputs.page_answers import DiaryAnswers, TooBusy
from sentinel.outputs.page_guard import Scope
from sentinel.outputs.page_mailbox import Mailbox, Told
from sentinel.outputs.page_stream import EventStream
from sentinel.outputs.page_view import Furnishings, bulletin_view, coast_path
from sentinel.outputs.values import JsonObject, to_json

FRESH_S = 20.0
"""The diary is written every minute and at every change; a page asks again when it hears of one."""
MONTHS_FRESH_S = 600.0
"""Years of record do not change in ten minutes."""
TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".otf": "font/otf",
}


class PageApp:
    """One application for one event loop."""

    def __init__(self, mailbox: Mailbox, furnishings: Furnishings, diary: Path, boot: str) -> None:
        self._mailbox, self._with, self._boot = mailbox, furnishings, boot
        self._diary = DiaryAnswers(diary)
        self._assets = {**_assets(), **furnishings.fonts}
        self._coasts: bytes | None = None
        self._rendered: dict[str, tuple[int, bytes]] = {}
        self._pictures: dict[str, tuple[int, bytes]] = {}
        self._drawing = asyncio.Lock()
        self.events = EventStream(mailbox, self._band_of, self._render)
        self.asgi = Starlette(
            routes=[
                Route("/", self._page),
                Route("/assets/{name}", self._asset),
                Route("/about.json", self._about),
                Route("/events", self.events),
                Route("/coasts.json", self._coast),
                Route("/day.json", self._day),
                Route("/openings.json", self._openings),
                Route("/months.json", self._months),
                Route("/panel.png", self._panel),
            ]
        )

    def close(self) -> None:
        """Let every listener go, and end the diary's thread."""
        self.events.close()
        self._diary.close()

    # --- the page and its parts ----------------------------------------------------------------------

    async def _page(self, request: Request) -> Response:
        return _unchanging(request, "page.html", self._assets["page.html"])

    async def _asset(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in self._assets:
            return _sentence(404, "There is no such file.")
        return _unchanging(request, name, self._assets[name])

    async def _about(self, _request: Request) -> Response:
        about = {
            "bands": list(self._with.bands),
            "locator": self._with.locator,
            "version": self._with.version,
            "panel": self._with.panel_png is not None,
        }
        return _json(to_json(about).encode())

    async def _coast(self, request: Request) -> Response:
        if self._coasts is None:
            path = await asyncio.to_thread(
                coast_path, self._with.locator, self._with.coasts, self._with.project
            )
            self._coasts = to_json({"path": path}).encode()
        return _unchanging(request, "coasts.json", self._coasts)

    async def _panel(self, request: Request) -> Response:
        band = self._band_of(request.scope)
        told = self._mailbox.latest(band) if band else None
        if told is None or self._with.panel_png is None:
            return _sentence(404, "The panel has not been drawn.")
        async with self._drawing:  # twenty pages ask at once, and one picture is drawn
            number, picture = self._pictures.get(told.bulletin.band, (-1, b""))
            if number != told.number:
                picture = await asyncio.to_thread(self._with.panel_png, told.bulletin)
                self._pictures[told.bulletin.band] = told.number, picture
        return Response(picture, 200, {"cache-control": "no-store"}, "image/png")

    # --- the diary ----------------------------------------------------------------------------------

    async def _day(self, request: Request) -> Response:
        return await self._from_diary(request, ("day",), FRESH_S, page_record.last_day)

    async def _openings(self, request: Request) -> Response:
        try:
            question = page_record.read_question(request.query_params)
        except ConfigError as error:
            return _sentence(400, str(error))
        ask = partial(page_record.openings_answer, question=question)
        return await self._from_diary(request, ("openings", question), FRESH_S, ask)

    async def _months(self, request: Request) -> Response:
        def ask(connection: Connection, band: str, _now_s: float) -> JsonObject:
            return page_record.hours_of_months(connection, band)

        return await self._from_diary(request, ("months",), MONTHS_FRESH_S, ask)

    async def _from_diary(
        self,
        request: Request,
        key: tuple[object, ...],
        fresh_s: float,
        ask: Callable[[Connection, str, float], JsonObject],
    ) -> Response:
        band = self._band_of(request.scope)
        if band is None:
            return _sentence(404, "There is no such band here.")
        told = self._mailbox.latest(band)
        now_s = time.time() if told is None else told.bulletin.at_s
        changed_s = None if told is None else told.bulletin.since_s  # another state: what was kept is old
        try:
            return _json(
                await self._diary.answer((*key, band, changed_s), fresh_s, lambda c: ask(c, band, now_s))
            )
        except (DiaryUnavailable, TooBusy) as error:
            return _sentence(503, str(error))

    # --- what is told -------------------------------------------------------------------------------

    def _render(self, told: Told) -> bytes:
        """The bulletin for the page, made once for all who listen."""
        number, rendered = self._rendered.get(told.bulletin.band, (-1, b""))
        if number != told.number:
            rendered = to_json(bulletin_view(told, self._boot, self._with.project)).encode()
            self._rendered[told.bulletin.band] = told.number, rendered
        return rendered

    def _band_of(self, scope: Scope) -> str | None:
        """The band that is asked for, the first one if none is; None for one that is not watched."""
        asked = parse_qs(scope["query_string"].decode("latin-1")).get("band", [self._with.bands[0]])[0]
        return asked if asked in self._with.bands else None


def _assets() -> dict[str, bytes]:
    """Every file of the page by its name."""
    folder = files("sentinel.outputs") / "page"
    return {each.name: each.read_bytes() for each in folder.iterdir() if each.is_file()}


def _unchanging(request: Request, name: str, body: bytes) -> Response:
    """A file of ours: the browser keeps it and asks each time whether it is still the same."""
    tag = f'"{hashlib.sha256(body).hexdigest()[:24]}"'
    headers = {"etag": tag, "cache-control": "no-cache"}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    media_type = TYPES.get(Path(name).suffix, "application/json")
    return Response(body, 200, headers, media_type)


def _json(body: bytes) -> Response:
    return Response(body, 200, {"cache-control": "no-store"}, "application/json")


def _sentence(status: int, sentence: str) -> Response:
    return Response(f"{sentence}\n", status, {"cache-control": "no-store"}, "text/plain")
