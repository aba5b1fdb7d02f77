"""One conditional GET over http or https, bounded in time and size.

Only the standard library; no cookies, no scripts, no file or ftp addresses, no redirect away from https.
Certificates are always checked.
"""

import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from http.client import HTTPException, HTTPMessage, HTTPResponse
from typing import IO, cast
from urllib.parse import urlsplit

from sentinel.errors import RunError

SCHEMES = ("http", "https")
USER_AGENT = "vhf-sentinel"
TIMEOUT_S = 20.0
"""For each wait on the network; a line of the slowest kind still answers within it (common practice)."""
PATIENCE_S = 60.0
"""For the whole answer, so that a server that drips a byte a second does not hold the thread."""
CHUNK_BYTES = 1 << 14
LONGEST_VALIDATOR = 256
LONGEST_URL = 1000


@dataclass(frozen=True, slots=True)
class Fetched:
    """An answer's body and its validators, empty where the server sent none."""

    body: bytes
    etag: str = ""
    last_modified: str = ""


def url_fault(url: str) -> str | None:
    """What is wrong with an address, or None."""
    if len(url) > LONGEST_URL:
        return f"is longer than {LONGEST_URL} characters"
    try:
        parts = urlsplit(url)
        host = parts.hostname
        _ = parts.port
    except ValueError:
        return "is no address"
    if parts.scheme not in SCHEMES or not host:
        return "is no http or https address"
    if parts.username or parts.password:
        return "holds a user or password; a public source needs none"
    if any(c.isspace() or not c.isprintable() for c in url):
        return "holds a blank or a control character"
    return None


def fetch(
    url: str,
    known: Fetched | None,
    largest_bytes: int,
    *,
    timeout_s: float = TIMEOUT_S,
    clock: Callable[[], float] = time.monotonic,
) -> Fetched | None:
    """What is at ``url``; None if it is still what is ``known``. Raises RunError."""
    request = urllib.request.Request(url, headers={"User-Agent": USER_AGENT})
    if known is not None and known.etag:
        request.add_header("If-None-Match", known.etag)
    if known is not None and known.last_modified:
        request.add_header("If-Modified-Since", known.last_modified)
    try:
        with cast(HTTPResponse, _opener().open(request, timeout=timeout_s)) as answer:
            body = _read(answer, largest_bytes, clock() + PATIENCE_S, clock)
            return Fetched(body, _validator(answer, "ETag"), _validator(answer, "Last-Modified"))
    except urllib.error.HTTPError as error:
        error.close()
        if error.code == 304 and known is not None:
            return None
        raise RunError(f"{url}: the server answered {error.code}") from None
    except (urllib.error.URLError, HTTPException, OSError, ValueError) as error:
        reason = getattr(error, "reason", None) or error
        raise RunError(f"{url}: cannot be fetched ({ascii(str(reason))[1:-1][:120]})") from None


def _read(answer: HTTPResponse, largest_bytes: int, until_s: float, clock: Callable[[], float]) -> bytes:
    body = b""
    while chunk := answer.read1(CHUNK_BYTES):
        body += chunk
        if len(body) > largest_bytes:
            raise ValueError(f"more than {largest_bytes} bytes")
        if clock() > until_s:
            raise ValueError(f"not complete after {PATIENCE_S:.0f} s")
    if answer.length:
        raise ValueError("the answer was cut off")
    return body


def _validator(answer: HTTPResponse, name: str) -> str:
    value = answer.headers.get(name, "")
    return value if len(value) <= LONGEST_VALIDATOR and value.isascii() and value.isprintable() else ""


class _CarefulRedirects(urllib.request.HTTPRedirectHandler):
    """Follows a redirect to http or https, but never from https to http."""

    def redirect_request(
        self,
        req: urllib.request.Request,
        fp: IO[bytes],
        code: int,
        msg: str,
        headers: HTTPMessage,
        newurl: str,
    ) -> urllib.request.Request | None:
        if url_fault(newurl) or (req.type == "https" and urlsplit(newurl).scheme != "https"):
            fp.close()
            raise ValueError("the server redirects to where it is not safe to follow")
        return super().redirect_request(req, fp, code, msg, headers, newurl)


def _opener() -> urllib.request.OpenerDirector:
    """An opener for the web alone; the usual one would also open files."""
    opener = urllib.request.OpenerDirector()
    for handler in (
        urllib.request.ProxyHandler(),
        urllib.request.HTTPHandler(),
        urllib.request.HTTPSHandler(),
        urllib.request.HTTPDefaultErrorHandler(),
        urllib.request.HTTPErrorProcessor(),
        _CarefulRedirects(),
    ):
        opener.add_handler(handler)
    return opener
