"""One thread for each slow output: the latest value wins, and a failure stays where it happened."""

import logging
import threading
import time
from collections.abc import Callable
from typing import Generic, TypeVar

from sentinel.watch.bulletin import Part

Value = TypeVar("Value")

STUCK_S = 120.0
"""Nothing honest takes so long: a glass that stays busy is given up after 30 s, a web request sooner."""

log = logging.getLogger("sentinel.output")


class LatestWorker(Generic[Value]):
    """Calls ``handle`` with the newest value handed in; older ones that had to wait are skipped.

    A failure is logged once and its recovery once; ``part`` says how things stand.
    """

    def __init__(self, name: str, handle: Callable[[Value], None]) -> None:
        self.name = name
        self._handle = handle
        self._changed = threading.Condition()
        self._value: Value | None = None
        self._is_stopping = False
        self._trouble = ""
        self._has_run = False
        self._busy_since_s: float | None = None
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def put(self, value: Value) -> None:
        """Hand in a value; never waits."""
        with self._changed:
            self._value = value
            self._changed.notify()

    def stop(self, timeout_s: float = 3.0) -> bool:
        """Handle what waits, then end; True if that took no longer than ``timeout_s``."""
        with self._changed:
            self._is_stopping = True
            self._changed.notify()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def part(self) -> Part:
        """How this output is."""
        since_s = self._busy_since_s
        if since_s is not None and (busy_s := time.monotonic() - since_s) > STUCK_S:
            return Part(self.name, False, f"it has not come back for {busy_s / 60.0:.0f} min")
        is_well = None if not self._has_run else not self._trouble
        return Part(self.name, is_well, self._trouble)

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._value is not None or self._is_stopping)
                value, self._value = self._value, None
            if value is None:
                return
            self._busy_since_s = time.monotonic()
            self._try(value)
            self._busy_since_s = None

    def _try(self, value: Value) -> None:
        try:
            self._handle(value)
        except Exception as error:  # an output may fail in any way and must not end the watch
            trouble = f"{type(error).__name__}: {ascii(str(error))[1:-1][:200]}"
            if not self._trouble:
                log.error("%s has failed: %s", self.name, trouble, exc_info=not isinstance(error, OSError))
            self._trouble = trouble
        else:
            if self._trouble:
                log.warning("%s works again", self.name)
            self._trouble = ""
        self._has_run = True
