"""A serial line as a source: a decoder on another board, or a microcontroller.

Give the path under ``/dev/serial/by-id``: it stays the same when the adapter is plugged in again, while
``/dev/ttyUSB0`` may become ``/dev/ttyUSB1``.
"""

from pathlib import Path

import serial

from sentinel.intake.stream_source import StreamLostError, StreamSource

_PARITIES = {
    "N": serial.PARITY_NONE,
    "E": serial.PARITY_EVEN,
    "O": serial.PARITY_ODD,
    "M": serial.PARITY_MARK,
    "S": serial.PARITY_SPACE,
}


class SerialSource(StreamSource):
    """Reads ``path`` at ``baud``; ``framing`` is data bits, parity and stop bits, such as 8N1."""

    def __init__(self, name: str, path: Path, *, baud: int = 9600, framing: str = "8N1") -> None:
        super().__init__(name)
        self._path = path
        self._baud = baud
        self._framing = framing
        self._port: serial.Serial | None = None

    def _open(self) -> int:
        try:
            self._port = serial.Serial(
                str(self._path),
                self._baud,
                bytesize=int(self._framing[0]),
                parity=_PARITIES[self._framing[1]],
                stopbits=float(self._framing[2:]),
                timeout=0,
                exclusive=True,  # two readers of one line would each get half of it
            )
        except (OSError, ValueError) as error:
            raise StreamLostError(f"{self._path} cannot be opened: {_why(error)}") from error
        return self._port.fileno()

    def _close(self) -> None:
        if self._port is not None:
            self._port.close()
            self._port = None

    def _at_end(self) -> None:
        raise StreamLostError(f"{self._path} is gone; is its cable plugged in?")


def _why(error: Exception) -> str:
    """The system's reason alone, without the library's words around it."""
    if isinstance(error, OSError) and error.errno is not None:
        return {2: "it is not there", 13: "not permitted; is the user in the group dialout?"}.get(
            error.errno, f"error {error.errno}"
        )
    return "the port does not take these settings"
