"""Places as editors count them, and what was told keeping its place. The oracle for columns is pygls's own codec."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lsprotocol import types
from pygls.workspace import PositionCodec

from habitatlint.editor.places import Change, Places, difference
from habitatlint.editor.serving import messages

#: letters of one, two, three and four bytes, of one and two UTF-16 units, and line ends
TEXTS = st.text(st.sampled_from("ab é—€\U0001f98c\U00010348\n"), max_size=40)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-32"])
@given(text=TEXTS, at=st.integers(0, 40))
def test_columns_are_those_of_the_librarys_codec(encoding: str, text: str, at: int) -> None:
    places, codec = Places(text, encoding), PositionCodec(encoding=types.PositionEncodingKind(encoding))  # type: ignore[arg-type]
    offset = min(at, len(text))
    line, character = places.position(offset)
    assert line == text[:offset].count("\n")
    written = text[:offset].rpartition("\n")[2]
    assert character == codec.client_num_units(written)
    assert places.offset(line, character) == offset


def test_a_deer_of_two_units_moves_what_stands_behind_it() -> None:
    places = Places('path a "\U0001f98c" x')
    assert places.position(10) == (0, 11)
    assert places.offset(0, 11) == 10


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_end_as_the_protocol_has_it(end: str) -> None:
    places = Places(f"one{end}two\u2028still two\x0c{end}three")
    assert places.position(len("one") + len(end)) == (1, 0)
    assert places.position(len(places.text)) == (2, 5)


def test_a_place_beyond_a_line_or_the_text_is_its_end() -> None:
    places = Places("one\r\ntwo")
    assert places.offset(0, 99) == 3
    assert places.offset(7, 0) == 8


@given(TEXTS, TEXTS)
def test_two_texts_differ_in_one_stretch(before: str, after: str) -> None:
    change = difference(before, after)
    new = after[change.start : change.start + change.length]
    assert before[: change.start] + new + before[change.end :] == after


@given(TEXTS, st.integers(0, 40), st.integers(0, 40), TEXTS, st.integers(0, 40), st.integers(0, 40))
def test_what_a_change_does_not_touch_keeps_its_words(text: str, a: int, b: int, new: str, c: int, d: int) -> None:
    (start, end), (begin, stop) = sorted((min(a, len(text)), min(b, len(text)))), sorted((min(c, len(text)), min(d, len(text))))  # fmt: skip
    after = text[:begin] + new + text[stop:]
    moved = Change(begin, stop, len(new)).moved(start, end)
    if moved is None:
        assert begin <= start and end <= stop
    else:
        assert 0 <= moved[0] <= moved[1] <= len(after)
        if end < begin or start > stop:
            assert after[slice(*moved)] == text[start:end]


def test_a_finding_goes_with_the_line_that_is_taken_away() -> None:
    assert Change(10, 30, 0).moved(15, 20) is None
    assert Change(15, 20, 6).moved(15, 20) == (15, 21)


def in_pieces(stream: bytes, size: int) -> list[bytes]:
    return list(messages(stream[at : at + size] for at in range(0, len(stream), size)))


@given(st.integers(1, 60))
def test_messages_are_found_however_their_stream_is_cut(size: int) -> None:
    stream = b"Content-Length: 2\r\n\r\n{}Content-Type: x\r\ncontent-length: 4\r\n\r\n[10]Content-Length: 1\r\n\r\n7"
    assert in_pieces(stream, size) == [b"{}", b"[10]", b"7"]


def test_what_is_no_message_is_passed_over() -> None:
    large = b"Content-Length: 999999999\r\n\r\n"
    assert in_pieces(b"GET / HTTP/1.1\r\n\r\nContent-Length: 1\r\n\r\n7", 16) == [b"7"]
    assert in_pieces(b"\x00\xff" * 9000 + b"\r\n\r\nContent-Length: 1\r\n\r\n7", 100) == [b"7"]
    assert in_pieces(b"Content-Length: -4\r\n\r\nContent-Length: 1\r\n\r\n7", 9) == [b"7"]
    assert in_pieces(large + b"x" * 50, 10) == []
