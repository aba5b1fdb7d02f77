"""The slot lengths of the trade's timed modes, and what they say of how often a station transmits."""

FT8_SLOT_S = 15.0
_SLOT_S = {"FT8": FT8_SLOT_S, "FT4": 7.5, "WSPR": 120.0}
_WSPR_PERIOD_S = 600.0
"""A WSPR station transmits in about a fifth of its two-minute slots (common practice)."""


def slot_s(mode: str | None) -> float:
    """Length of one slot in seconds; modes without slots are treated as FT8 is."""
    return FT8_SLOT_S if mode is None else _SLOT_S.get(mode.upper(), FT8_SLOT_S)


def slot_start_s(at_s: float, mode: str | None) -> float:
    """The start of the slot that ``at_s`` lies in, in seconds since 1970 UTC."""
    length_s = slot_s(mode)
    return at_s // length_s * length_s


def period_s(length_s: float) -> float:
    """From one transmission of a station to its next: every other slot, the partner has those between."""
    return _WSPR_PERIOD_S if length_s >= 120.0 else 2.0 * length_s
