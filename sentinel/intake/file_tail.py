"""Follows one growing text file through rotation, truncation, rewriting and power cuts.

All file work and no thread: ``poll`` looks once and yields what is new. The rules:

- The file is known again by the hashes of its head and of the bytes just read, not by its inode.
- Renamed away: the old descriptor is read to its end before the new file is opened, from its start. If that
  happened while nobody looked, the old file is found beside the new one by its inode and read out first.
- Truncated or rewritten in place: what was unread is gone; that is said once, and reading starts over.
- Shorter than the checkpoint with the same head: a power cut took the end. Reading goes on at the new end;
  what is written again is removed downstream. A file is never replayed.
- Seen for the first time: only its last ``backlog_bytes``.
"""

import hashlib
import os
import stat
from collections.abc import Callable, Generator, Iterator
from contextlib import closing
from pathlib import Path

from sentinel.intake.checkpoint import HEAD_BYTES, TAIL_BYTES, FileCheckpoint
from sentinel.intake.line import LineBatch
from sentinel.intake.line_buffer import LineBuffer

# About 4,000 lines: an hour of a crowded band, days of a quiet one.
BACKLOG_BYTES = 256 * 1024
# Bounds the memory of a catch-up. The whole backlog is one chunk, so that it can be dated from its end.
CHUNK_BYTES = BACKLOG_BYTES


class FileTail:
    """Where reading stands in the file at ``path``; ``say`` gets a sentence for each thing worth logging."""

    def __init__(
        self,
        path: Path,
        source: str,
        *,
        checkpoint: FileCheckpoint | None = None,
        backlog_bytes: int = BACKLOG_BYTES,
        say: Callable[[str], None],
    ) -> None:
        self.trouble: str | None = None
        self.lines = 0
        self._path = path
        self._source = source
        self._backlog_bytes = backlog_bytes
        self._say = say
        self._checkpoint = checkpoint
        self._buffer = LineBuffer()
        self._cut_off = 0
        self._open: _OpenFile | None = None
        self._is_catching_up = True

    @property
    def is_there(self) -> bool:
        return self._open is not None and self.trouble is None

    @property
    def discarded(self) -> int:
        return self._buffer.discarded + self._cut_off

    @property
    def replaced(self) -> int:
        return self._buffer.replaced

    def checkpoint(self) -> FileCheckpoint | None:
        """The place just behind the last whole line read."""
        return self._checkpoint

    def poll(self) -> Iterator[LineBatch]:
        """What is new since the last look. A file that cannot be read is a trouble, never an exception."""
        try:
            yield from self._look()
        except OSError as error:
            self._fail(f"{self._path} cannot be read: {error.strerror or error}")
            self.close()

    def close(self) -> None:
        """Close the file; the next ``poll`` opens it again and goes on behind the last line."""
        if self._open is not None:
            self._open.close()
            self._open = None
        self._buffer.clear()
        self._is_catching_up = True

    def _look(self) -> Iterator[LineBatch]:
        look = self._first_look() if self._open is None else self._next_look(self._open)
        is_there = yield from look
        if not is_there:
            return
        self._is_catching_up = False
        if self.trouble is not None:
            self.trouble = None
            self._say(f"{self._path} is being read")

    def _first_look(self) -> Generator[LineBatch, None, bool]:
        self._open = opened = self._opened()
        if opened is None:
            return False
        place = self._checkpoint
        if place is None:
            opened.skip_to_line_near(opened.size() - self._backlog_bytes)
        elif (offset := opened.offset_of(place)) is not None:
            if offset < place.offset:
                self._say(f"{self._path} lost its end in a power cut; going on at its new end")
            opened.seek(offset)
        else:
            is_read_out = yield from self._read_out_renamed(place)
            opened.skip_to_line_near(0 if is_read_out else opened.size() - self._backlog_bytes)
        yield from self._read(opened)
        return True

    def _next_look(self, opened: "_OpenFile") -> Generator[LineBatch, None, bool]:
        if opened.is_rewritten():
            self._say(f"{self._path} was rewritten; lines that were not read yet are gone")
            self._drop_partial()
            opened.seek(0)
        yield from self._read(opened)
        if opened.is_at(self._path):
            return True
        renewed = self._opened()
        if renewed is None:
            return False
        try:
            yield from self._read(opened)  # written between the last read and the rename
        except BaseException:
            renewed.close()
            raise
        self._drop_partial()
        opened.close()
        self._open = renewed
        place = self._checkpoint
        if place is not None and renewed.offset_of(place) == place.offset:  # a copy, and perhaps more
            renewed.seek(place.offset)
            self._checkpoint = renewed.checkpoint()
        yield from self._read(renewed)
        return True

    def _read_out_renamed(self, place: FileCheckpoint) -> Generator[LineBatch, None, bool]:
        """The rest of the file that the checkpoint is about, if it now stands beside under another name."""
        for path in self._beside(place.inode):
            with closing(_OpenFile(path)) as renamed:
                if renamed.offset_of(place) == place.offset:
                    renamed.seek(place.offset)
                    yield from self._read(renamed)
                    self._drop_partial()
                    return True
        self._say(f"{self._path} is not the file that was read before; what that one still held is not read")
        return False

    def _beside(self, inode: int) -> list[Path]:
        with os.scandir(self._path.parent) as entries:
            return [
                Path(entry.path)
                for entry in entries
                if entry.inode() == inode and entry.name != self._path.name and entry.is_file()
            ]

    def _read(self, opened: "_OpenFile") -> Iterator[LineBatch]:
        while chunk := opened.read():
            written_s = opened.written_s()  # may fail, and then nothing counts as read yet
            texts = self._buffer.feed(chunk)
            if (place := opened.checkpoint()) is not None:
                self._checkpoint = place
            if texts:
                self.lines += len(texts)
                is_live = not self._is_catching_up
                yield LineBatch(self._source, tuple(texts), self._checkpoint, is_live, written_s)

    def _drop_partial(self) -> None:
        # half a line could read as another call sign, so it is not worth keeping
        self._cut_off += self._buffer.is_waiting
        self._buffer.clear()

    def _opened(self) -> "_OpenFile | None":
        try:
            opened = _OpenFile(self._path)
        except FileNotFoundError:
            self._fail(f"{self._path} is not there; waiting for it")
            return None
        if not opened.is_regular():
            opened.close()
            self._fail(f'{self._path} is no regular file; for a named pipe set kind = "pipe"')
            return None
        return opened

    def _fail(self, sentence: str) -> None:
        if sentence != self.trouble:
            self.trouble = sentence
            self._say(sentence)


class _OpenFile:
    """One open file, the offset read up to, and the bytes by which its state is known."""

    def __init__(self, path: Path) -> None:
        # not blocking, or a named pipe in the file's place would hang us
        self._fd = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        try:
            self._stat = os.fstat(self._fd)
        except OSError:
            os.close(self._fd)
            raise
        self._seen = (-1, -1)
        self.seek(0)

    def close(self) -> None:
        os.close(self._fd)

    def is_regular(self) -> bool:
        return stat.S_ISREG(self._stat.st_mode)

    def size(self) -> int:
        return os.fstat(self._fd).st_size

    def written_s(self) -> float:
        """When it was last written, seconds since 1970."""
        return os.fstat(self._fd).st_mtime

    def is_at(self, path: Path) -> bool:
        """True if ``path`` still leads to this file."""
        try:
            found = path.stat()
        except FileNotFoundError:
            return False
        return (found.st_dev, found.st_ino) == (self._stat.st_dev, self._stat.st_ino)

    def seek(self, offset: int) -> None:
        """Go on at ``offset``, just behind a line end."""
        self._offset = self._line_end = offset
        self._head = os.pread(self._fd, min(offset, HEAD_BYTES), 0) if offset else b""
        self._recent = self._line_tail = self._before(offset) if offset else b""

    def skip_to_line_near(self, offset: int) -> None:
        """Go on at the first line that begins at ``offset`` or behind it."""
        position = offset - 1
        while position >= 0 and (chunk := os.pread(self._fd, CHUNK_BYTES, position)):
            end = chunk.find(b"\n") + 1
            position += end or len(chunk)
            if end:
                break
        self.seek(max(0, position))

    def offset_of(self, place: FileCheckpoint) -> int | None:
        """Where this file goes on if it is the one that ``place`` is about, else ``None``."""
        size = self.size()
        head = os.pread(self._fd, min(place.offset, HEAD_BYTES), 0)
        if _hash(head) != place.head_hash:
            return None
        if size < place.offset:
            return size if self._stat.st_ino == place.inode else None
        return place.offset if _hash(self._before(place.offset)) == place.tail_hash else None

    def is_rewritten(self) -> bool:
        """True if the bytes just read are no longer there."""
        now = os.fstat(self._fd)
        if (now.st_size, now.st_mtime_ns) == self._seen:
            return False
        self._seen = (now.st_size, now.st_mtime_ns)
        return now.st_size < self._offset or self._before(self._offset)[-len(self._recent) :] != self._recent

    def read(self) -> bytes:
        """The next bytes, empty at the end of the file."""
        chunk = os.pread(self._fd, CHUNK_BYTES, self._offset)
        end = chunk.rfind(b"\n") + 1
        if end:
            self._line_end = self._offset + end
            self._line_tail = (self._recent + chunk[:end])[-TAIL_BYTES:]
        if len(self._head) < HEAD_BYTES:
            self._head = (self._head + chunk)[:HEAD_BYTES]
        self._offset += len(chunk)
        self._recent = (self._recent + chunk)[-TAIL_BYTES:]
        return chunk

    def checkpoint(self) -> FileCheckpoint | None:
        """The place behind the last line end; ``None`` while there is none."""
        if self._line_end == 0:
            return None
        head = self._head[: min(self._line_end, HEAD_BYTES)]
        found = self._stat
        return FileCheckpoint(found.st_dev, found.st_ino, self._line_end, _hash(head), _hash(self._line_tail))

    def _before(self, offset: int) -> bytes:
        start = max(0, offset - TAIL_BYTES)
        return os.pread(self._fd, offset - start, start)


def _hash(data: bytes) -> str:
    return hashlib.blake2b(data, digest_size=8).hexdigest()
