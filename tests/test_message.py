"""Messages: who was heard, for every message of the trade, and one countable reason for everything else."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.trade.callsign import Call, parse_call
from sentinel.trade.compose import compose
from sentinel.trade.message import Kind, Message, Rejection, parse_message
from sentinel.trade.wspr import LEGAL_POWERS_DBM

# Table 1 of Franke, Somerville and Taylor, 'The FT4 and FT8 Communication Protocols', QEX July/August 2020
# (from memory): type, text, the call that transmits.
PAPER = [
    ("0.0", "TNX BOB 73 GL", None),
    ("0.1", "K1ABC RR73; W9XYZ <KH1/KH7Z> -08", "KH1/KH7Z"),
    ("0.2", "PA3XYZ/P R 590003 IO91NP", "PA3XYZ/P"),
    ("0.3", "K1ABC W9XYZ 6A WI", "W9XYZ"),
    ("0.4", "W9XYZ K1ABC R 17B EMA", "K1ABC"),
    ("0.5", "123456789ABCDEF012", None),
    ("1", "K1ABC/R W9XYZ/R R EN37", "W9XYZ/R"),
    ("2", "G4ABC/P PA9XYZ JO22", "PA9XYZ"),
    ("3", "TU; W9XYZ K1ABC R 579 MA", "K1ABC"),
    ("4", "<W9XYZ> PJ4/K1ABC RRR", "PJ4/K1ABC"),
    ("5", "<G4ABC> <PA9XYZ> R 570007 JO22DB", "PA9XYZ"),
]


@pytest.mark.parametrize("mode", [None, "FT8", "ft4"])
@pytest.mark.parametrize(("text", "sender"), [case[1:] for case in PAPER])
def test_the_paper_s_examples_name_who_transmits(text: str, sender: str | None, mode: str | None) -> None:
    message = parse_message(text, mode)
    assert (message.sender and message.sender.text) == sender
    assert (message.rejection is None) == (sender is not None)


def call(text: str | None) -> Call | None:
    return parse_call(text) if text else None


# text, kind, sender, addressee, locator, report in dB
STRUCTURED = [
    ("CQ VE1QZZ FN84", Kind.CQ, "VE1QZZ", None, "FN84", None),
    ("CQ VE1QZZ", Kind.CQ, "VE1QZZ", None, None, None),
    ("CQ PJ4/VE1QZZ", Kind.CQ, "PJ4/VE1QZZ", None, None, None),
    ("CQ <PJ4/VE1QZZ>", Kind.CQ, "PJ4/VE1QZZ", None, None, None),
    ("CQ VE1QZZ/P FN84", Kind.CQ, "VE1QZZ/P", None, "FN84", None),
    ("CQ GB100QAB IO91", Kind.CQ, "GB100QAB", None, "IO91", None),
    ("CQ VE1QZZ RR73", Kind.CQ, "VE1QZZ", None, None, None),  # nobody lives there
    ("QRZ VE1QZZ FN84", Kind.QRZ, "VE1QZZ", None, "FN84", None),
    ("DE VE1QZZ FN84", Kind.CALL, "VE1QZZ", None, "FN84", None),
    ("DL5QAB VE1QZZ", Kind.CALL, "VE1QZZ", "DL5QAB", None, None),
    ("DL5QAB VE1QZZ FN84", Kind.REPLY, "VE1QZZ", "DL5QAB", "FN84", None),
    ("DL5QAB VE1QZZ R FN84", Kind.ROGER_LOCATOR, "VE1QZZ", "DL5QAB", "FN84", None),
    ("DL5QAB VE1QZZ -12", Kind.REPORT, "VE1QZZ", "DL5QAB", None, -12),
    ("DL5QAB VE1QZZ +00", Kind.REPORT, "VE1QZZ", "DL5QAB", None, 0),
    ("DL5QAB VE1QZZ R+03", Kind.ROGER_REPORT, "VE1QZZ", "DL5QAB", None, 3),
    ("DL5QAB VE1QZZ RRR", Kind.ACKNOWLEDGEMENT, "VE1QZZ", "DL5QAB", None, None),
    ("DL5QAB VE1QZZ RR73", Kind.ACKNOWLEDGEMENT, "VE1QZZ", "DL5QAB", None, None),
    ("DL5QAB VE1QZZ 73", Kind.FAREWELL, "VE1QZZ", "DL5QAB", None, None),
    ("<...> VE1QZZ -12", Kind.REPORT, "VE1QZZ", None, None, -12),
    ("<PJ4/VE1QZZ> DL5QAB -12", Kind.REPORT, "DL5QAB", "PJ4/VE1QZZ", None, -12),
    ("<TM2024QA> DL5QAB RR73", Kind.ACKNOWLEDGEMENT, "DL5QAB", "TM2024QA", None, None),
    ("<QQ2024> DL5QAB RR73", Kind.ACKNOWLEDGEMENT, "DL5QAB", None, None, None),  # the decoder knows the hash
    ("<DL5QAB VE1QZZ> R+03", Kind.ROGER_REPORT, "VE1QZZ", "DL5QAB", None, 3),  # one hash for both, QEX 2017
    ("DL5QAB RR73; G4QAB <VE1QZZ> -08", Kind.DXPEDITION, "VE1QZZ", "G4QAB", None, -8),
    ("<...> <DL5QAB> 570007 JO22DB", Kind.VHF_CONTEST, "DL5QAB", None, "JO22db", None),
    ("DL5QAB VE1QZZ 32F DX", Kind.FIELD_DAY, "VE1QZZ", "DL5QAB", None, None),
    ("DL5QAB VE1QZZ 529 0013", Kind.RTTY_ROUNDUP, "VE1QZZ", "DL5QAB", None, None),
    ("TU; DL5QAB VE1QZZ 589 ON", Kind.RTTY_ROUNDUP, "VE1QZZ", "DL5QAB", None, None),
]  # fmt: skip
PLAIN = [
    ("VE1QZZ", Kind.CALL, "VE1QZZ", None, None, None),
    ("VE1QZZ VE1QZZ K", Kind.CALL, "VE1QZZ", None, None, None),
    ("VE1QZZ FN84", Kind.CALL, "VE1QZZ", None, "FN84", None),
    ("VE1QZZ FN84ab", Kind.CALL, "VE1QZZ", None, "FN84ab", None),
    ("VE1QBC/B", Kind.BEACON, "VE1QBC/B", None, None, None),
    ("VE1QBC/B FN84", Kind.BEACON, "VE1QBC/B", None, "FN84", None),
    ("VE1QBC/B FN84 10W VERT", Kind.BEACON, "VE1QBC/B", None, "FN84", None),
    ("DE VE1QBC/B FN84", Kind.BEACON, "VE1QBC/B", None, "FN84", None),
    ("VVV DE VE1QBC FN84", Kind.BEACON, "VE1QBC", None, "FN84", None),
    ("VVV VVV VE1QBC VE1QBC FN84AB", Kind.BEACON, "VE1QBC", None, "FN84ab", None),
    ("V V V DE VE1QBC", Kind.BEACON, "VE1QBC", None, None, None),
    ("CQ CQ DE DL5QAB DL5QAB K", Kind.CQ, "DL5QAB", None, None, None),
    ("CQ CQ CQ DX DX DE DL5QAB DL5QAB PSE K", Kind.CQ, "DL5QAB", None, None, None),
    ("TEST DL5QAB DL5QAB TEST", Kind.CQ, "DL5QAB", None, None, None),
    ("VE1QZZ DE DL5QAB 599 K", Kind.CALL, "DL5QAB", "VE1QZZ", None, None),
    ("VE1QZZ VE1QZZ DE DL5QAB", Kind.CALL, "DL5QAB", "VE1QZZ", None, None),
    ("TU 73 DE DL5QAB", Kind.CALL, "DL5QAB", None, None, None),
    ("QRZ? DE DL5QAB JO31", Kind.CALL, "DL5QAB", None, "JO31", None),
    ("cq cq de dl5qab jo31", Kind.CQ, "DL5QAB", None, "JO31", None),
]  # fmt: skip
COLUMNS = ("text", "kind", "sender", "addressee", "locator", "report_db")


@pytest.mark.parametrize("mode", [None, "FT8", "CW", "Q65-30A"])
@pytest.mark.parametrize(COLUMNS, STRUCTURED)
def test_a_message_of_calls_is_read_in_any_mode(
    text: str, kind: Kind, sender: str, addressee: str | None, locator: str | None, report_db: int | None,
    mode: str | None,
) -> None:  # fmt: skip
    message = parse_message(text, mode)
    assert (message.kind, message.sender, message.rejection) == (kind, call(sender), None)
    assert (message.addressee, message.locator, message.report_db) == (call(addressee), locator, report_db)


@pytest.mark.parametrize("mode", [None, "CW"])
@pytest.mark.parametrize(COLUMNS, PLAIN)
def test_morse_and_beacons_are_read_where_the_mode_allows_them(
    text: str, kind: Kind, sender: str, addressee: str | None, locator: str | None, report_db: int | None,
    mode: str | None,
) -> None:  # fmt: skip
    message = parse_message(text, mode)
    assert (message.kind, message.sender, message.rejection) == (kind, call(sender), None)
    assert (message.addressee, message.locator, message.report_db) == (call(addressee), locator, report_db)


@pytest.mark.parametrize("modifier", ["DX", "EU", "NA", "TEST", "POTA", "110", "090", "FD", "WW", "Q"])
def test_a_cq_keeps_its_modifier(modifier: str) -> None:
    message = parse_message(f"CQ {modifier} VE1QZZ FN84")
    assert (message.sender, message.locator, message.cq_modifier) == (call("VE1QZZ"), "FN84", modifier)


@pytest.mark.parametrize(
    ("text", "exchange"),
    [
        ("K1ABC W9XYZ 6A WI", "6A WI"),
        ("W9XYZ K1ABC R 17B EMA", "R 17B EMA"),
        ("TU; W9XYZ K1ABC R 579 MA", "R 579 MA"),
        ("W9XYZ K1ABC 559 0013", "559 0013"),
        ("<G4ABC> <PA9XYZ> R 570007 JO22DB", "R 570007"),
        ("PA3XYZ/P 590003 IO91NP", "590003"),
        ("K1ABC W9XYZ -12", None),
    ],
)
def test_a_contest_s_exchange_is_kept_as_sent(text: str, exchange: str | None) -> None:
    assert parse_message(text).exchange == exchange


def test_a_sender_in_angle_brackets_is_marked_as_hashed() -> None:
    by_text = {
        "<W9XYZ> PJ4/K1ABC RRR": False,
        "W9XYZ <PJ4/K1ABC> RRR": True,
        "K1ABC RR73; W9XYZ <KH1/KH7Z> -08": True,
        "CQ K1ABC FN42": False,
    }
    assert {text: parse_message(text).is_sender_hashed for text in by_text} == by_text


@pytest.mark.parametrize("mode", [None, "WSPR", "FST4W"])
@pytest.mark.parametrize(
    ("text", "sender", "locator", "power_dbm"),
    [
        ("VE1QZZ FN84 37", "VE1QZZ", "FN84", 37),
        ("VE1QZZ FN84AB 0", "VE1QZZ", "FN84ab", 0),
        ("PJ4/K1ABC 37", "PJ4/K1ABC", None, 37),
        ("<PJ4/K1ABC> FK52UD 37", "PJ4/K1ABC", "FK52ud", 37),
    ],
)
def test_wspr_names_its_sender_with_place_and_power(
    text: str, sender: str, locator: str | None, power_dbm: int, mode: str | None
) -> None:
    message = parse_message(text, mode)
    assert (message.kind, message.sender, message.addressee) == (Kind.WSPR, call(sender), None)
    assert (message.locator, message.power_dbm) == (locator, power_dbm)


def test_the_legal_powers_are_the_published_ones() -> None:
    # PA3FWM, Electron 2015
    published = [0, 3, 7, 10, 13, 17, 20, 23, 27, 30, 33, 37, 40, 43, 47, 50, 53, 57, 60]
    assert sorted(LEGAL_POWERS_DBM) == published
    said = [power for power in range(100) if parse_message(f"VE1QZZ FN84 {power}", "WSPR").sender]
    assert said == published


@pytest.mark.parametrize(
    ("text", "mode", "reason"),
    [
        ("", None, Rejection.EMPTY),
        (" \t\r\n", None, Rejection.EMPTY),
        ("CQ VE1QZZ FN84" + " " * 10**6, None, Rejection.TOO_LONG),
        ("A" * 10**6, None, Rejection.TOO_LONG),
        ("CQ VE1QZZ\0 FN84", None, Rejection.UNPRINTABLE),
        ("CQ VE1QZZ \x1b[31mFN84", None, Rejection.UNPRINTABLE),
        ("CQ VE1QZZ \N{RIGHT-TO-LEFT OVERRIDE}FN84", None, Rejection.UNPRINTABLE),
        ("CQ \ud800 VE1QZZ", None, Rejection.UNPRINTABLE),
        ("123456789ABCDEF012", None, Rejection.TELEMETRY),
        ("56789ABCDEF012", "FT8", Rejection.TELEMETRY),
        ("TNX BOB 73 GL", None, Rejection.FREE_TEXT),
        ("CQ", None, Rejection.FREE_TEXT),
        ("CQ ANYONE", None, Rejection.FREE_TEXT),
        ("RR73", None, Rejection.FREE_TEXT),
        ("FN84", None, Rejection.FREE_TEXT),
        ("FN84ab", None, Rejection.FREE_TEXT),
        ("FN84 VE1QZZ", None, Rejection.FREE_TEXT),
        ("TU;", None, Rejection.FREE_TEXT),
        ("DE", None, Rejection.FREE_TEXT),
        ("VVV", None, Rejection.FREE_TEXT),
        ("VVV DE", None, Rejection.FREE_TEXT),
        ("VE1QZZ IS GONE", None, Rejection.FREE_TEXT),
        ("VE1QZZ", "FT8", Rejection.FREE_TEXT),
        ("CQ VE1QZZ FN84", "WSPR", Rejection.FREE_TEXT),
        ("CQ V\N{LATIN CAPITAL LETTER E WITH ACUTE}1QZZ FN84", None, Rejection.FREE_TEXT),
        ("CQ <...>", None, Rejection.UNRESOLVED_HASH),
        ("CQ <...> FN84", None, Rejection.UNRESOLVED_HASH),
        ("VE1QZZ <...> R-05", None, Rejection.UNRESOLVED_HASH),
        ("<...> <...> RR73", None, Rejection.UNRESOLVED_HASH),
        ("K1ABC RR73; W9XYZ <...> -08", None, Rejection.UNRESOLVED_HASH),
        ("<...> FK52UD 37", "WSPR", Rejection.UNRESOLVED_HASH),
        ("CQ Q1ABC FN42", None, Rejection.MALFORMED_CALL),
        ("CQ DX 123ABC FN42", None, Rejection.MALFORMED_CALL),
        ("Q1ABC VE1QZZ FN84", None, Rejection.MALFORMED_CALL),
        ("VE1QZZ 0A1BCD -12", "FT8", Rejection.MALFORMED_CALL),
        ("VE1QZZ DL5QAB SS00", None, Rejection.UNKNOWN_EXCHANGE),
        ("VE1QZZ DL5QAB 33A WI", None, Rejection.UNKNOWN_EXCHANGE),
        ("VE1QZZ DL5QAB R", None, Rejection.UNKNOWN_EXCHANGE),
        ("VE1QZZ FN84 38", None, Rejection.ILLEGAL_POWER),
        ("VE1QZZ FN84 38", "WSPR", Rejection.ILLEGAL_POWER),
    ],
)
def test_text_that_names_nobody_says_why(text: str, mode: str | None, reason: Rejection) -> None:
    message = parse_message(text, mode)
    assert (message.sender, message.rejection) == (None, reason)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("CQ VE1QZZ FN84     Canada", "CQ VE1QZZ FN84"),
        ("CQ VE1QZZ FN84 ?", "CQ VE1QZZ FN84"),
        ("CQ VE1QZZ\tCanada", "CQ VE1QZZ"),
        ("DL5QAB VE1QZZ -12   C\N{LATIN SMALL LETTER O WITH CIRCUMFLEX}te d'Ivoire", "DL5QAB VE1QZZ -12"),
        ("DL5QAB VE1QZZ   ? 3", "DL5QAB VE1QZZ"),
        ("DL5QAB  VE1QZZ  -12  ? 3", "DL5QAB VE1QZZ -12"),  # a decoder that prints in columns
        ("DL5QAB  VE1QZZ  Canada", "DL5QAB VE1QZZ"),
        ("VE1QZZ   Canada", "VE1QZZ"),
        ("VE1QZZ FN84 37   Canada  1234 km", "VE1QZZ FN84 37"),
        ("  CQ  VE1QZZ   FN84 ", "CQ VE1QZZ FN84"),
    ],
)
def test_what_the_decoder_prints_behind_a_message_changes_nothing(text: str, plain: str) -> None:
    message = parse_message(text)
    assert message.sender is not None
    assert message == parse_message(plain)


@given(st.text() | st.text(alphabet="CQDE VK1ABZ09/<>.;+-R73\0\t?"), st.none() | st.text() | st.just("FT8"))
def test_any_text_gives_a_sender_or_a_reason(text: str, mode: str | None) -> None:
    message = parse_message(text, mode)
    assert (message.sender is None) != (message.rejection is None)
    assert message.locator != "RR73"


PARTS = (
    "CQ QRZ DE TU; DX 110 <...> <VE1QZZ> VE1QZZ DL5QAB/P PJ4/G4QAB Q1ABC FN84 FN84AB RR73 RRR 73 R R-05 +03 "
    "6A WI 579 MA 0013 570007 37 38 VVV K TEST RR73; <VE1QZZ DL5QAB> 123456789ABCDEF012 ? Canada"
)
WORDS = st.sampled_from(PARTS.split())
BLANKS = st.sampled_from([" ", " ", " ", "  ", "   "])


@given(st.lists(st.tuples(WORDS, BLANKS), max_size=7), st.sampled_from([None, "FT8", "WSPR"]))
def test_any_words_give_a_sender_from_the_text(parts: list[tuple[str, str]], mode: str | None) -> None:
    text = "".join(word + blank for word, blank in parts)
    message = parse_message(text, mode)
    assert (message.sender is None) != (message.rejection is None)
    for named in (message.sender, message.addressee):
        assert named is None or named.text in re.split(r"[ <>]+", text)
    assert message.sender is None or message.sender != message.addressee


# --- what the writer writes, the reader reads ---

WRITTEN = "VE1QZZ DL5QAB G4QAB/P PJ4/W9QAB K1QZ/4 VE1QBC/MM 3DA0QA GB100QAB C6QAB VP2E/K1QA VK9X/DL5QAB/QRP"
CALLS = st.sampled_from(WRITTEN.split()).map(parse_call)
FOUR = st.from_regex(r"[A-R]{2}[0-9]{2}", fullmatch=True).filter(lambda text: text != "RR73")
SIX = st.from_regex(r"[A-R]{2}[0-9]{2}[a-x]{2}", fullmatch=True)
LOCATORS = FOUR | SIX
MAYBE_LOCATOR = st.none() | LOCATORS
REPORTS = st.integers(-50, 49)
MODIFIERS = st.none() | st.from_regex(r"[A-Z]{1,4}|[0-9]{3}", fullmatch=True).filter(
    lambda text: text not in ("CQ", "QRZ", "DE")
)
ROGER = st.sampled_from(["", "R "])


def messages(kind: Kind, **fields: st.SearchStrategy[object]) -> st.SearchStrategy[Message]:
    return st.builds(Message, st.just(kind), CALLS, is_sender_hashed=st.booleans(), **fields)


MESSAGES = st.one_of(
    messages(Kind.CQ, locator=MAYBE_LOCATOR, cq_modifier=MODIFIERS),
    messages(Kind.QRZ, locator=MAYBE_LOCATOR),
    messages(Kind.CALL, addressee=st.none() | CALLS, locator=MAYBE_LOCATOR),
    messages(Kind.REPLY, addressee=st.none() | CALLS, locator=LOCATORS),
    messages(Kind.ROGER_LOCATOR, addressee=CALLS, locator=FOUR),
    messages(Kind.REPORT, addressee=CALLS, report_db=REPORTS),
    messages(Kind.ROGER_REPORT, addressee=st.none() | CALLS, report_db=REPORTS),
    messages(Kind.ACKNOWLEDGEMENT, addressee=CALLS),
    messages(Kind.FAREWELL, addressee=CALLS),
    messages(Kind.DXPEDITION, addressee=CALLS, report_db=REPORTS),
    messages(
        Kind.FIELD_DAY,
        addressee=CALLS,
        exchange=st.builds("{}{}{} NS".format, ROGER, st.integers(1, 32), st.sampled_from("ABCDEF")),
    ),
    messages(
        Kind.RTTY_ROUNDUP,
        addressee=CALLS,
        exchange=st.builds("{}5{}9 {:04d}".format, ROGER, st.integers(2, 9), st.integers(1, 7999)),
    ),
    messages(
        Kind.VHF_CONTEST,
        addressee=st.none() | CALLS,
        locator=SIX,
        exchange=st.builds("{}5{}{:04d}".format, ROGER, st.integers(2, 9), st.integers(0, 2047)),
    ),
    messages(Kind.BEACON, locator=MAYBE_LOCATOR),
    messages(Kind.WSPR, locator=MAYBE_LOCATOR, power_dbm=st.sampled_from(sorted(LEGAL_POWERS_DBM))),
).filter(lambda message: message.sender != message.addressee)


@given(MESSAGES)
def test_what_is_composed_reads_back_to_the_same_fields(message: Message) -> None:
    assert parse_message(compose(message)) == message


def test_a_message_from_nobody_cannot_be_composed() -> None:
    with pytest.raises(ValueError, match="without a sender cannot be sent"):
        compose(parse_message("TNX BOB 73 GL"))
