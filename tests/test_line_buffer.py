"""Bytes to lines: the same lines in any chunking, bounded memory, damage counted."""

import itertools

from hypothesis import given
from hypothesis import strategies as st

from sentinel.intake.line_buffer import LINE_CAP_BYTES, LineBuffer

# few distinct bytes, so that line ends, NULs, broken UTF-8 and overlong lines meet often
HOSTILE_BYTES = st.lists(
    st.sampled_from(
        [b"\n", b"\r", b"\r\n", b"\0", b"a", b"CQ VE1QZZ FN84", b"\xff", b"\xc3", b"\xa9", b"x" * 9]
    ),
    max_size=60,
).map(b"".join)


def read_in_chunks(data: bytes, cuts: list[int], cap_bytes: int) -> tuple[list[str], int, int]:
    buffer = LineBuffer(cap_bytes)
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    lines = [line for start, end in itertools.pairwise(edges) for line in buffer.feed(data[start:end])]
    lines += buffer.finish()
    return lines, buffer.discarded, buffer.replaced


@given(HOSTILE_BYTES, st.lists(st.integers(0, 300), max_size=30))
def test_any_chunking_gives_the_same_lines_and_counts(data: bytes, cuts: list[int]) -> None:
    assert read_in_chunks(data, cuts, 20) == read_in_chunks(data, [], 20)


@given(HOSTILE_BYTES)
def test_byte_by_byte_gives_what_a_plain_split_gives(data: bytes) -> None:
    lines, discarded, _ = read_in_chunks(data, list(range(len(data))), 20)
    raw = data.replace(b"\0", b"").split(b"\n")
    if raw[-1] == b"":
        raw.pop()
    assert lines == [line.decode(errors="replace").rstrip("\r") for line in raw if len(line) <= 20]
    assert discarded == sum(len(line) > 20 for line in raw)


@given(HOSTILE_BYTES)
def test_what_waits_is_never_longer_than_the_cap(data: bytes) -> None:
    buffer = LineBuffer(20)
    for i in range(len(data)):
        buffer.feed(data[i : i + 1])
        assert len(buffer._partial) <= 20


def test_a_partial_line_waits_for_its_end() -> None:
    buffer = LineBuffer()
    assert buffer.feed(b"120000 -7 CQ VE1") == []
    assert buffer.feed(b"QZZ FN84\r") == []
    assert buffer.feed(b"\n1200") == ["120000 -7 CQ VE1QZZ FN84"]


def test_a_line_of_exactly_the_cap_passes_and_one_byte_more_is_discarded_and_counted() -> None:
    buffer = LineBuffer()
    fits, too_long = b"a" * LINE_CAP_BYTES, b"b" * (LINE_CAP_BYTES + 1)
    assert buffer.feed(fits + b"\n" + too_long + b"\nnext\n") == [fits.decode(), "next"]
    assert buffer.discarded == 1


def test_an_endless_line_is_counted_once_and_the_next_line_survives() -> None:
    buffer = LineBuffer()
    for _ in range(1000):
        assert buffer.feed(b"x" * 1000) == []
    assert buffer.feed(b"tail\ngood\n") == ["good"]
    assert buffer.discarded == 1


def test_the_nuls_that_a_power_cut_leaves_do_not_cost_the_next_line() -> None:
    buffer = LineBuffer()
    assert buffer.feed(b"\0" * 10_000 + b"120015 -9 CQ DL5QAB JN58\n") == ["120015 -9 CQ DL5QAB JN58"]
    assert buffer.discarded == 0


def test_bytes_that_are_not_utf8_are_replaced_and_their_lines_counted() -> None:
    buffer = LineBuffer()
    assert buffer.feed(b"a\xffb\xfe\nplain\ncaf\xc3\xa9\n") == ["a\ufffdb\ufffd", "plain", "café"]
    assert buffer.replaced == 1


def test_a_byte_order_mark_is_not_part_of_the_first_line() -> None:
    assert LineBuffer().feed("\ufeff120000 CQ\n".encode()) == ["120000 CQ"]


def test_clearing_drops_the_unfinished_line_only() -> None:
    buffer = LineBuffer(20)
    buffer.feed(b"half a line")
    buffer.clear()
    assert buffer.feed(b"whole\n") == ["whole"]
    buffer.feed(b"x" * 30)
    buffer.clear()
    assert buffer.feed(b"whole again\n") == ["whole again"]
