"""A named pipe, or standard input, as a source."""

import os
import stat
import sys
from pathlib import Path

from sentinel.intake.stream_source import StreamEndedError, StreamLostError, StreamSource

STANDARD_INPUT = Path("-")


class PipeSource(StreamSource):
    """Reads the named pipe at ``path``; ``-`` is standard input.

    A named pipe goes on after its writer has ended, with the next one; standard input does not.
    """

    def __init__(self, name: str, path: Path) -> None:
        super().__init__(name)
        self._path = path
        self._fd: int | None = None

    def _open(self) -> int:
        if self._path == STANDARD_INPUT:
            return sys.stdin.fileno()
        try:
            # without a writer a blocking open would wait, and could not be stopped
            self._fd = os.open(self._path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        except FileNotFoundError:
            raise StreamLostError(f"{self._path} is not there; make it with mkfifo") from None
        except OSError as error:
            raise StreamLostError(f"{self._path} cannot be opened: {error.strerror}") from error
        if not stat.S_ISFIFO(os.fstat(self._fd).st_mode):
            raise StreamLostError(f'{self._path} is no named pipe; for a text file set kind = "file"')
        return self._fd

    def _close(self) -> None:
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None

    def _at_end(self) -> None:
        if self._path == STANDARD_INPUT:
            raise StreamEndedError("standard input has ended")
        # opened again at once: then it sleeps until the next writer comes, without spinning on the hang-up
        self._drop_half_line()
