"""A small footprint from the GNU C library's allocator, where that is in use; elsewhere nothing is done.

By default every thread gets memory of its own to allocate from, and what loading the program has freed stays
with the process: together more than a megabyte that a daemon which mostly sleeps never uses (mallopt(3)).
"""

import ctypes
from contextlib import suppress

M_ARENA_MAX = -8


def share_one_arena() -> None:
    """Let all threads allocate from one place; they wait for the interpreter's lock anyway."""
    with suppress(AttributeError, OSError):
        ctypes.CDLL(None).mallopt(M_ARENA_MAX, 1)


def give_back() -> None:
    """Return to the system what is free; worth it once, when everything has been loaded."""
    with suppress(AttributeError, OSError):
        ctypes.CDLL(None).malloc_trim(0)
