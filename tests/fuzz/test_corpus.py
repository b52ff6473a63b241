"""What fuzzing came upon is read again: all that once broke something, and of what reached a new line of the program a
quarter (all of it with HABITATLINT_THOROUGH set)."""

from __future__ import annotations

from pathlib import Path

import pytest
from effort import times
from fuzz import running, truths

from habitatlint.source import Source, Span

TRUTHS = {"plan": truths.plan, "rules": truths.rules, "exchange": truths.exchanged}


def files_of(kind: str) -> list[Path]:
    return sorted((running.CORPUS / kind).glob("*"))


@pytest.mark.parametrize("kind", TRUTHS)
def test_all_of_the_corpus_is_read_without_harm(kind: str) -> None:
    paths = files_of(kind)
    assert len(paths) >= 20
    broke = [path for path in paths if path.name.startswith("broke-")]
    for path in [*broke, *(path for path in paths[:: times(4, 1)] if path not in broke)]:
        try:
            TRUTHS[kind](path.read_bytes())
        except Exception as error:
            raise AssertionError(f"{kind}/{path.name} breaks what holds of any text: {error}") from error


@pytest.mark.parametrize("kind", TRUTHS)
def test_the_corpus_is_small(kind: str) -> None:
    paths = files_of(kind)
    assert len(paths) <= running.MOST and max(path.stat().st_size for path in paths) <= running.LARGEST


def test_what_would_steer_a_terminal_is_harm_and_a_span_out_of_its_text_is_none() -> None:
    truths.harmless("é\n  place oak")
    for steering in ("\x1b[2J", "\x07", "\x9b", "\r", "\u202e", "\u2066"):
        with pytest.raises(AssertionError):
            truths.harmless(f"place {steering}")
    source = Source("x", "place\n")
    truths.placed([Span(source, 0, 6)])
    for start, end in ((0, 7), (-1, 2), (4, 3)):
        with pytest.raises(AssertionError):
            truths.placed([Span(source, start, end)])


def test_what_breaks_is_kept_once_for_each_place_it_breaks_at(tmp_path: Path) -> None:
    def truth(data: bytes) -> None:
        if b"x" in data:
            raise AssertionError("an x")
        int(data)

    catch = running.Catch(truth, tmp_path)
    for data in (b"1", b"x", b"xx", b"one", b"two"):
        catch(data)
    kept = sorted(path.read_bytes() for path in tmp_path.glob("broke-*") if not path.suffix)
    assert kept == [b"one", b"x"] and catch.ran == 5


def test_of_texts_the_smallest_are_kept_that_reach_what_all_of_them_reach() -> None:
    place, longer, same = b"place a\n  at 0,0\n", b"place a\n  at 0,0 1\n", b"place b\n  at 0,0\n"
    kept = running.distilled(truths.plan, [longer, same, place, place])
    assert kept[0] == place and same not in kept and longer in kept
