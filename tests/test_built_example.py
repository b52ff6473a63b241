"""The design that was built: what `compare` must say of it, held to a list written by hand from both plans.

The list stands in `examples/thrennow-poles-built.compare`, a line a change; its first lines say how it reads. Whatever
`compare` says of blocks, trees, work and findings that came must stand in it, and the other way round.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.findings import Policy
from habitatlint.measures.winds import WINDS, sector
from habitatlint.outputs.papers.compare import Compared, compared, numbers_of
from habitatlint.review import Review
from habitatlint.units import YARD, plain
from habitatlint.work.comparison import compare

EXAMPLES = Path(__file__).resolve().parent.parent / "examples"
LIST = EXAMPLES / "thrennow-poles-built.compare"


def lines() -> list[str]:
    return [line.strip() for line in LIST.read_text(encoding="utf-8").splitlines()
            if line.strip() and not line.startswith("#")]  # fmt: skip


@pytest.fixture(scope="module")
def two(review: Review) -> Compared:
    head = dict(line.split(" ", 1) for line in lines()[:2])
    policy = Policy(date.fromisoformat(head["today"]))
    before, after = (
        review.check(files.read_source(str(path)), policy)
        for path in (EXAMPLES / head["before"], LIST.with_suffix(".habitat"))
    )
    return compared(before, after, compare(before, after))


def told(two: Compared) -> list[str]:
    """What differs, in the words of the list."""
    found = []
    for one in two.comparison.changes:
        name = one.block.name or one.block.noun
        if one.kind != "changed":
            found.append(f"{one.kind} {one.block.noun} {name}")
            continue
        if one.renamed and one.before is not None:
            found.append(f"renamed {one.before.name} {name}")
        shape = one.shape
        if shape is not None and shape.resized:
            found.append(f"resized {name} {plain(shape.after / YARD, 1)}yd was {plain(shape.before / YARD, 1)}yd")
        elif shape is not None:
            found.append(f"moved {name} {plain(shape.moved / YARD, 1)}yd {WINDS[sector(shape.toward)]}")
        found += [f"says {name} {prop.word}" for prop in one.properties]
    for trees in two.comparison.trees:
        what = trees.what if trees.turns is None else f"turned {plain(abs(trees.turns[1]), 0)}"
        found.append(f"trees {trees.block.name} {numbers_of(trees.numbers)} {what}")
    found += [f"done {one.block.name} {one.after}" for one in two.comparison.done]
    found += [f"event {one.noun} {one.head[0].value}" for one in two.comparison.events]
    return found


def test_what_became_of_the_blocks_is_what_the_list_says(two: Compared) -> None:
    wanted = [line for line in lines()[2:] if not line.startswith("came ")]
    assert sorted(told(two)) == sorted(wanted)


def test_what_is_found_since_is_what_the_list_says(two: Compared) -> None:
    wanted = [line.split() for line in lines() if line.startswith("came ")]
    came = [one.finding for one in two.findings if one.what == "came"]
    assert sorted(rule for _, rule, _, _ in wanted) == sorted(one.rule.partition("/")[2] for one in came)
    for _, rule, _, name in wanted:
        assert any(one.rule.endswith(f"/{rule}") and name in one.names for one in came), (rule, name)
    # the design was clean on its own day; by the later one its steps are overdue, and that went with the work
    others = [(one.what, one.finding.rule) for one in two.findings if one.what != "came"]
    assert set(others) == {("went", "order/step-overdue")}
