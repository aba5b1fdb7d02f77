"""Who may look, and what a browser may do with what it gets: wrapped around everything the page serves.

A page on loopback can still be read by a stranger's web site, through a name of his that he suddenly points
at 127.0.0.1; so the name in the request must be one of ours. An address is always ours: it cannot be bent.
"""

import ipaddress
import logging
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]
Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

log = logging.getLogger("sentinel.page")

HEADERS = {
    # Nothing but our own files, no script or style inside the page, and no text that becomes markup
    # (W3C, Content Security Policy Level 3; Trusted Types).
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}


@dataclass(frozen=True, slots=True)
class Visitors:
    """``networks`` may look, none named means the networks at home; ``names`` are this computer's."""

    networks: tuple[Network, ...] = ()
    names: frozenset[str] = frozenset({"localhost"})

    def may_look(self, client: str) -> bool:
        """Whether this address may see the page."""
        address = _address(client)
        if address is None:
            return False
        if self.networks:
            return address.is_loopback or any(address in network for network in self.networks)
        return address.is_private or address.is_link_local

    def is_our_name(self, host: str) -> bool:
        """Whether a request's Host header is an address or a name of ours."""
        bare = host.rpartition("]")[0].lstrip("[") if host.startswith("[") else host.partition(":")[0]
        return _address(bare) is not None or bare.lower().rstrip(".") in self.names


class Guard:
    """Serves the ``app`` to welcome visitors, reading only, with the headers above on every answer."""

    def __init__(self, app: App, visitors: Visitors) -> None:
        self._app = app
        self._visitors = visitors
        self._has_failed = False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        has_begun = False

        async def guarded_send(message: Message) -> None:
            nonlocal has_begun
            if message["type"] == "http.response.start":
                has_begun = True
                message = {**message, "headers": [*message.get("headers", ()), *_ENCODED]}
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            await refuse(guarded_send, *refusal)
            return
        try:
            await self._app(scope, receive, guarded_send)
        except Exception:  # a page that fails must not fill the log, nor end the watch
            if not self._has_failed:
                log.exception("the status page has failed to answer")
            self._has_failed = True
            if not has_begun:
                await refuse(guarded_send, 500, "This answer has failed; the log says why.")

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        client = (scope.get("client") or ("",))[0]
        if not self._visitors.may_look(client):
            return 403, "This page is not shown to your address; the operator can allow it in [page]."
        if not self._visitors.is_our_name(_header(scope, b"host")):
            return 421, "This is not a name of this computer; the operator can add it to names in [page]."
        if scope["method"] not in ("GET", "HEAD"):
            return 405, "This page can only be read."
        return None


async def refuse(send: Send, status: int, sentence: str) -> None:
    """Answer with one sentence."""
    body = f"{sentence}\n".encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", b"%d" % len(body))]
    if status == 405:
        headers.append((b"allow", b"GET, HEAD"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


_ENCODED = tuple((name.encode(), value.encode()) for name, value in HEADERS.items())


def _header(scope: Scope, name: bytes) -> str:
    headers: Iterable[tuple[bytes, bytes]] = scope["headers"]
    return next((value.decode("latin-1") for key, value in headers if key == name), "")


def _address(text: str) -> Address | None:
    try:
        address = ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return None
    return getattr(address, "ipv4_mapped", None) or address
