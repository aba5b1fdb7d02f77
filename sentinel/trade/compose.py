"""The writer: the text that a station would send to say a message. ``parse_message`` reads it back."""

from sentinel.trade.message_types import UNRESOLVED, Kind, Message

_FIXED_WORDS = {Kind.ACKNOWLEDGEMENT: "RR73", Kind.FAREWELL: "73"}


def compose(message: Message) -> str:
    """The message's text, locators in upper case as on the air. An unknown addressee is a hash, ``<...>``.

    Raises ValueError for a message that names nobody.
    """
    if message.sender is None:
        raise ValueError(f"a message without a sender cannot be sent ({message.rejection})")
    sender = f"<{message.sender.text}>" if message.is_sender_hashed else message.sender.text
    locator = (message.locator or "").upper()
    return " ".join(word for word in _words(message, sender, locator) if word)


def _words(message: Message, sender: str, locator: str) -> list[str]:
    addressee = message.addressee.text if message.addressee else ""
    match message.kind:
        case Kind.CQ:
            return ["CQ", message.cq_modifier or "", sender, locator]
        case Kind.QRZ:
            return ["QRZ", sender, locator]
        case Kind.BEACON:
            return ["VVV", "DE", sender, locator]
        case Kind.WSPR:
            return [sender, locator, str(message.power_dbm)]
        case Kind.CALL if not addressee:
            return ["DE", sender, locator]
        case Kind.CALL if locator:
            return [addressee, "DE", sender, locator]
        case Kind.DXPEDITION:
            return [UNRESOLVED, "RR73;", addressee or UNRESOLVED, sender, f"{message.report_db:+03d}"]
        case Kind.VHF_CONTEST:
            return [f"<{addressee}>" if addressee else UNRESOLVED, sender, message.exchange or "", locator]
    return [addressee or UNRESOLVED, sender, *_said(message, locator)]


def _said(message: Message, locator: str) -> list[str]:
    match message.kind:
        case Kind.REPORT:
            return [f"{message.report_db:+03d}"]
        case Kind.ROGER_REPORT:
            return [f"R{message.report_db:+03d}"]
        case Kind.ROGER_LOCATOR:
            return ["R", locator]
        case Kind.FIELD_DAY | Kind.RTTY_ROUNDUP:
            return [message.exchange or ""]
    return [_FIXED_WORDS.get(message.kind, ""), locator]
