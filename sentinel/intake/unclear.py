"""What learning says when a log can be read in two ways that are equally good."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unclear:
    """Two readings of the same columns, or two columns, that the log alone cannot tell apart."""

    reason: str
