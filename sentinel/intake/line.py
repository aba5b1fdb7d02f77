"""What a source hands on: whole lines of text, in batches, each with the place up to which they were read."""

from dataclasses import dataclass

from sentinel.intake.checkpoint import FileCheckpoint


@dataclass(frozen=True, slots=True)
class LineBatch:
    """Lines in the order in which the decoder wrote them, without their line ends.

    ``checkpoint`` is the place just behind the last of them. Whoever keeps what the lines said keeps it in
    the same transaction, so that after a crash no line is lost and none counts twice. It is ``None`` for a
    source that cannot be read again (serial, UDP, pipe).
    ``is_live`` says that the lines were read as they were written, not while catching up: only then does the
    wall clock say anything about the date of a line that holds a time of day alone. ``written_s`` is when the
    file was last written (seconds since 1970), about the time of the last line of a backlog.
    """

    source: str
    texts: tuple[str, ...]
    checkpoint: FileCheckpoint | None = None
    is_live: bool = True
    written_s: float | None = None
