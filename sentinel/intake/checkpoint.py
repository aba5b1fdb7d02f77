"""The place in a text file up to which everything has been read, and how to know the file again."""

from dataclasses import dataclass

# Enough to tell files apart whose first line is the same banner.
HEAD_BYTES = 1024
# Enough for the last few lines read: tells a rewritten file from one that only grew.
TAIL_BYTES = 256


@dataclass(frozen=True, slots=True)
class FileCheckpoint:
    """``offset`` bytes of the file have been read; it lies just behind a line end.

    Device and inode alone do not identify a file (inodes are used again), so ``head_hash`` covers its first
    ``min(offset, HEAD_BYTES)`` bytes and ``tail_hash`` the ``TAIL_BYTES`` before the offset (hexadecimal).
    """

    device: int
    inode: int
    offset: int
    head_hash: str
    tail_hash: str
