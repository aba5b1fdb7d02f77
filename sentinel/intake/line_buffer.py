"""Bytes in, whole lines of text out. Pure: no file, no clock.

The lines depend on the bytes alone, never on how they were cut into chunks. The memory in use is bounded by
the cap, whatever arrives.
"""

# Decoders print 40 to 80 characters a line, and JSON lines stay under 1 KiB; anything beyond 4 KiB is not a
# decode but a binary file or a broken writer.
LINE_CAP_BYTES = 4096


class LineBuffer:
    """Cuts a stream of bytes into lines at LF or CRLF; what stands behind the last LF waits.

    NUL bytes are dropped first: after a power cut a file system may leave a run of them in front of the next
    good line. A longer line than ``cap_bytes`` is discarded up to its LF. Bytes that are not UTF-8 become
    U+FFFD. Both are counted.
    """

    def __init__(self, cap_bytes: int = LINE_CAP_BYTES) -> None:
        self._cap_bytes = cap_bytes
        self._partial = b""
        self._is_discarding = False
        self.discarded = 0
        """Lines thrown away because they were longer than the cap."""
        self.replaced = 0
        """Lines in which at least one byte was not UTF-8."""

    @property
    def is_waiting(self) -> bool:
        """True while part of a line waits for its end."""
        return bool(self._partial)

    def feed(self, chunk: bytes) -> list[str]:
        """The lines that ``chunk`` completes."""
        *complete, rest = chunk.replace(b"\0", b"").split(b"\n")
        if not complete:
            self._hold(rest)
            return []
        complete[0] = self._partial + complete[0]
        if self._is_discarding:
            del complete[0]
            self._is_discarding = False
        self._partial = b""
        self._hold(rest)
        fitting = [raw for raw in complete if len(raw) <= self._cap_bytes]
        self.discarded += len(complete) - len(fitting)
        return self._decoded(fitting)

    def finish(self) -> list[str]:
        """The last line of a stream that has ended without an LF, if there is one."""
        if self._is_discarding or not self._partial:
            self.clear()
            return []
        return self.feed(b"\n")

    def clear(self) -> None:
        """Forget the unfinished line: the stream was cut, and what follows begins another one."""
        self._partial = b""
        self._is_discarding = False

    def _hold(self, rest: bytes) -> None:
        if self._is_discarding:
            return
        self._partial += rest
        if len(self._partial) > self._cap_bytes:
            self._partial = b""
            self._is_discarding = True
            self.discarded += 1

    def _decoded(self, lines: list[bytes]) -> list[str]:
        """All at once if they are plain ASCII, which nearly all are; else one by one."""
        joined = b"\n".join(lines)
        if joined.isascii():
            texts = joined.decode("ascii").split("\n") if lines else []
            return [text.rstrip("\r") for text in texts] if b"\r" in joined else texts
        return [self._decoded_alone(line).rstrip("\r").removeprefix("\ufeff") for line in lines]

    def _decoded_alone(self, line: bytes) -> str:
        try:
            return line.decode()
        except UnicodeDecodeError:
            self.replaced += 1
            return line.decode(errors="replace")
