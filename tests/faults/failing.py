"""System calls that fail when they are told to."""

import errno
import os
from typing import Any


class Failing:
    """Stands for the module ``os``: of its calls by these names the ``first``-th to the ``last``-th fail."""

    def __init__(self, names: tuple[str, ...], first: int, last: int) -> None:
        self.count, self.failures = 0, 0
        self._names, self._failing = names, range(first, last + 1)

    def step(self) -> None:
        """One call more; raises OSError if it is to fail."""
        self.count += 1
        if self.count in self._failing:
            self.failures += 1
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    def __getattr__(self, name: str) -> Any:
        real = getattr(os, name)
        if name not in self._names:
            return real

        def call(*given: Any, **named: Any) -> Any:
            self.step()
            return real(*given, **named)

        return call
