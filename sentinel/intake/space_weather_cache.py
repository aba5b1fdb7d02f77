"""The last good answer of each address, on disk: it outlives a restart and an outage of the source.

One JSON file an address, replaced whole. A damaged or foreign one counts as none. The file's own time is when
the source was last asked, so that a restart does not ask again too soon.
"""

import hashlib
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

from sentinel.intake.web_fetch import Fetched

LARGEST_FILE = 8 << 20
"""A product of 1 MiB in which every character is escaped."""


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer, when it came and when the source was last asked. Seconds since 1970 UTC."""

    answer: Fetched
    came_at_s: float
    asked_at_s: float


class AnswerCache:
    """The answers in one directory."""

    def __init__(self, directory: Path) -> None:
        self._directory = directory

    def load(self, url: str) -> Kept | None:
        """The last good answer of an address, None if there is none that can be read."""
        path = self._path(url)
        try:
            if path.stat().st_size > LARGEST_FILE:
                return None
            stored = json.loads(path.read_text("ascii"))
            if stored["url"] != url:
                return None
            answer = Fetched(stored["body"].encode(), str(stored["etag"]), str(stored["last_modified"]))
            return Kept(answer, float(stored["came_at_s"]), path.stat().st_mtime)
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return None

    def save(self, url: str, answer: Fetched, now_s: float) -> None:
        """Keep an answer. Raises OSError."""
        stored = asdict(answer) | {
            "url": url,
            "came_at_s": now_s,
            "body": answer.body.decode("utf-8", errors="replace"),
        }
        self._directory.mkdir(parents=True, exist_ok=True)
        path = self._path(url)
        fresh = path.with_suffix(".new")
        with fresh.open("w", encoding="ascii") as opened:
            json.dump(stored, opened)
            opened.flush()
            os.fsync(opened.fileno())
        fresh.replace(path)
        os.utime(path, (now_s, now_s))

    def asked(self, url: str, now_s: float) -> None:
        """The source was asked and had nothing new. Raises OSError."""
        os.utime(self._path(url), (now_s, now_s))

    def _path(self, url: str) -> Path:
        return self._directory / f"space-weather-{hashlib.sha256(url.encode()).hexdigest()[:16]}.json"
