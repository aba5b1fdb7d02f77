"""The glass: what a display must be able to do, whatever its controller, and the wire it hangs on.

A driver turns pictures into a controller's commands and knows nothing of pins; a bus carries commands and
knows nothing of pictures. So the same driver runs on the real wires and on the simulated controller.
"""

from enum import StrEnum
from typing import Protocol

from PIL import Image

from sentinel.errors import RunError

# A full refresh takes 2 to 4 s, with a third colour 15 to 20 s (vendors' data sheets); a controller that is
# still busy after this long hangs.
BUSY_TIMEOUT_S = 30.0


class GlassError(RunError):
    """The display does not answer, or its wires cannot be opened."""


class Refresh(StrEnum):
    """How the glass is driven: not at all, where the picture changed, or wholly through black and white."""

    NONE = "none"
    PARTIAL = "partial"
    FULL = "full"


class Bus(Protocol):
    """Four-wire SPI with data/command, reset and busy lines."""

    def reset(self) -> None:
        """Pulse the reset line; the controller wakes from any state."""

    def command(self, code: int, data: bytes = b"") -> None:
        """Send one command byte, then its data bytes."""

    def wait_until_ready(self, timeout_s: float) -> None:
        """Return once the busy line is released; GlassError after the timeout."""

    def close(self) -> None:
        """Release the pins."""


class Glass(Protocol):
    """A display that keeps its picture without power."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the picture it shows, in pixels."""

    @property
    def has_accent(self) -> bool:
        """Whether it has a third colour (and then no partial refresh)."""

    def show(self, picture: Image.Image, refresh: Refresh) -> None:
        """Wake, show the picture, sleep. Raises GlassError, and ValueError for a picture of another size."""

    def clear(self) -> None:
        """Show plain white, as the vendors advise before storage."""

    def close(self) -> None:
        """Release the wires; the picture stays."""
