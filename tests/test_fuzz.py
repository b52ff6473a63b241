"""Whatever is typed, a check ends with findings that have a place, and never with an error of ours."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from effort import times
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from habitatlint.findings import Policy
from habitatlint.outputs import Style, render
from habitatlint.review import Review
from habitatlint.source import Source

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = (ROOT / "examples" / "fallow-ridge.habitat").read_text(encoding="utf-8")
LINES = SAMPLE.splitlines()
POLICY = Policy(date(2026, 2, 10))

odd = st.sampled_from(
    ["\t", "  ", "#", '"', "\\", ",", "..", "(", "-", "°", "１", "é", "\u202e", "\x00", "1e999", "nan", "from", "then",
     "beside", "around", "along", "0,0", "9999999", "-1", "yd", "%", "in", "of", "row", "N45E", "\r", "2026-02-30"]
)  # fmt: skip
edits = st.lists(
    st.tuples(st.integers(0, len(LINES) - 1), st.sampled_from(["drop", "twice", "cut", "swap", "add"]), odd, st.floats(0, 1)),
    min_size=1, max_size=12,
)  # fmt: skip


def edited(changes: list[tuple[int, str, str, float]]) -> str:
    lines = list(LINES)
    for number, how, piece, where in changes:
        line = lines[number % len(lines)]
        at = int(where * len(line))
        if how == "drop":
            line = ""
        elif how == "twice":
            line = f"{line}\n{line}"
        elif how == "cut":
            line = line[:at]
        elif how == "swap":
            line = line[:at] + piece + line[at + 1 :]
        else:
            line = line[:at] + piece + line[at:]
        lines[number % len(lines)] = line
    return "\n".join(lines)


def sound(review: Review, text: str) -> None:
    report = review.check(Source("fuzzed.habitat", text), POLICY)
    for finding in (*report.findings, *report.waived):
        span = finding.span
        assert 0 <= span.start <= span.end <= len(span.source.text)
        assert 1 <= span.line <= len(span.source.line_starts)
    for form in ("text", "gnu", "json"):
        page = render(form, [report.verdict], Style())
        assert "\x1b" not in page and "\x00" not in page and "\u202e" not in page
    slips = [
        finding
        for finding in report.findings
        if finding.rule in ("record/syntax", "record/unknown-word", "record/bad-value")
    ]
    places = [(finding.span.line, finding.span.column) for finding in slips]
    assert len(places) == len(set(places))


@settings(max_examples=times(70, 400), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(changes=edits)
def test_a_plan_with_slips_of_the_pen_is_judged(review: Review, changes: list[tuple[int, str, str, float]]) -> None:
    review.memory.clear()
    sound(review, edited(changes))


@settings(max_examples=times(60, 300), deadline=None)
@given(text=st.text(max_size=300))
def test_any_text_is_judged(review: Review, text: str) -> None:
    review.memory.clear()
    sound(review, text)


@settings(max_examples=times(35, 150), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(changes=edits)
def test_reading_with_a_memory_is_reading_afresh(review: Review, changes: list[tuple[int, str, str, float]]) -> None:
    """A text read after others, its blocks known in part, is told the same as one read alone."""
    text = edited(changes)
    review.memory.clear()
    alone = render("json", [review.check(Source("x.habitat", text), POLICY).verdict], Style())
    review.memory.clear()
    review.check(Source("x.habitat", SAMPLE), POLICY)
    after = render("json", [review.check(Source("x.habitat", text), POLICY).verdict], Style())
    assert alone == after
