"""What a message can be: its kinds, the reasons for which a text names nobody, and the message itself.

The values of the enumerations are stable: they are counted, stored and published.
"""

from dataclasses import dataclass
from enum import StrEnum

from sentinel.trade.callsign import Call, parse_call


class Kind(StrEnum):
    """What a message does in a contact."""

    CQ = "cq"
    QRZ = "qrz"
    CALL = "call"  # one call or two, and nothing said yet
    REPLY = "reply"  # answers with the sender's locator
    ROGER_LOCATOR = "roger-locator"  # R and a locator: contests on VHF in North America
    REPORT = "report"
    ROGER_REPORT = "roger-report"
    ACKNOWLEDGEMENT = "acknowledgement"  # RRR, RR73
    FAREWELL = "farewell"  # 73
    FIELD_DAY = "field-day"
    RTTY_ROUNDUP = "rtty-roundup"
    VHF_CONTEST = "vhf-contest"
    DXPEDITION = "dxpedition"  # ends one contact and reports to another in one message
    BEACON = "beacon"
    WSPR = "wspr"
    TELEMETRY = "telemetry"
    FREE_TEXT = "free-text"
    UNREADABLE = "unreadable"


class Rejection(StrEnum):
    """Why a message has no sender."""

    EMPTY = "empty"
    TOO_LONG = "too-long"
    UNPRINTABLE = "unprintable"
    TELEMETRY = "telemetry"
    FREE_TEXT = "free-text"
    UNRESOLVED_HASH = "unresolved-hash"
    MALFORMED_CALL = "malformed-call"
    UNKNOWN_EXCHANGE = "unknown-exchange"
    ILLEGAL_POWER = "illegal-power"


@dataclass(frozen=True, slots=True)
class Message:
    """What one message says. Either ``sender`` or ``rejection`` is None, never both, never neither.

    ``sender`` is the station that transmitted, ``addressee`` the one it meant, where the text says so.
    ``locator`` is the sender's own, as ``locator.normalize`` writes it. ``report_db`` is how well the
    sender hears the addressee, ``power_dbm`` the sender's power. ``exchange`` is a contest's exchange as
    sent, with its R but without the locator. ``is_sender_hashed`` says that the decoder looked the sender
    up from a hash (angle brackets), which can hit the wrong call.
    """

    kind: Kind
    sender: Call | None = None
    addressee: Call | None = None
    locator: str | None = None
    report_db: int | None = None
    power_dbm: int | None = None
    cq_modifier: str | None = None
    exchange: str | None = None
    is_sender_hashed: bool = False
    rejection: Rejection | None = None


UNRESOLVED = "<...>"  # a hash that the decoder could not look up


def message_sent_by(
    word: str,
    kind: Kind,
    *,
    addressee: Call | None = None,
    locator: str | None = None,
    report_db: int | None = None,
    power_dbm: int | None = None,
    cq_modifier: str | None = None,
    exchange: str | None = None,
) -> Message:
    """The message whose sender is written as ``word``, or its rejection when ``word`` names nobody."""
    sender = parse_call(word)
    rejection = None
    if sender is not None and sender.is_beacon and kind is Kind.CALL:
        kind = Kind.BEACON
    if sender is None:
        rejection = Rejection.UNRESOLVED_HASH if word == UNRESOLVED else Rejection.MALFORMED_CALL
    is_hashed = sender is not None and word.startswith("<")
    return Message(
        kind, sender, addressee, locator, report_db, power_dbm, cq_modifier, exchange, is_hashed, rejection
    )
