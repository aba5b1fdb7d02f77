"""The diary's answers for the page: one question at a time, in one thread, each kept for a while.

Twenty phones that open the page at once ask the card once; a flood of different questions is turned away
before it becomes work.
"""

import asyncio
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection

from sentinel.errors import RunError
from sentinel.outputs.diary_queries import reading
from sentinel.outputs.values import JsonObject, to_json

MOST_KEPT = 32
MOST_WAITING = 12
"""Most answers take some milliseconds, the hours of eleven years a second or so: nobody waits for long."""


class TooBusy(RunError):  # noqa: N818 (a state that passes, more than an error)
    """More questions wait than can be answered in good time."""


@dataclass(frozen=True, slots=True)
class _Kept:
    made_s: float
    answer: bytes


class DiaryAnswers:
    """Asks the diary in the file ``path``; belongs to one event loop."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._reader = ThreadPoolExecutor(max_workers=1, thread_name_prefix="page-diary")
        self._kept: OrderedDict[Hashable, _Kept] = OrderedDict()
        self._asked: dict[Hashable, asyncio.Future[bytes]] = {}

    async def answer(self, key: Hashable, fresh_s: float, ask: Callable[[Connection], JsonObject]) -> bytes:
        """The answer to ``ask`` as JSON, not older than ``fresh_s``. Equal keys mean equal questions.

        Raises DiaryUnavailable, and TooBusy.
        """
        kept = self._kept.get(key)
        if kept is not None and time.monotonic() - kept.made_s < fresh_s:
            return kept.answer
        asked = self._asked.get(key)
        if asked is None:
            if len(self._asked) >= MOST_WAITING:
                raise TooBusy("too many questions at once; ask again in a few seconds")
            asked = asyncio.get_running_loop().run_in_executor(self._reader, self._look, ask)
            self._asked[key] = asked
            asked.add_done_callback(lambda done: self._keep(key, done))
        return await asyncio.shield(asked)

    def close(self) -> None:
        """End the thread once it has answered."""
        self._reader.shutdown(wait=False, cancel_futures=True)

    def _look(self, ask: Callable[[Connection], JsonObject]) -> bytes:
        with reading(self._path) as connection:
            return to_json(ask(connection)).encode("ascii")

    def _keep(self, key: Hashable, done: "asyncio.Future[bytes]") -> None:
        self._asked.pop(key, None)
        if done.cancelled() or done.exception() is not None:
            return
        self._kept[key] = _Kept(time.monotonic(), done.result())
        self._kept.move_to_end(key)
        while len(self._kept) > MOST_KEPT:
            self._kept.popitem(last=False)
