"""A plan read again after a change within a block is, to the slip, the plan read whole."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import Any

import pytest

from habitatlint.editor.desk import Desk
from habitatlint.editor.rereading import reread
from habitatlint.language.plan import PlanText
from habitatlint.review import Review
from habitatlint.source import Source

ROOT = Path(__file__).resolve().parents[2]
LINES = ["\n  fall along x", "\n  spacing 5", "\n  in nowhere", "\nwidth 3", "\nrow x", ' "', " \\", "\n"]


def facts(plan: PlanText) -> list[Any]:
    """All that a plan holds, in words and numbers."""
    slips = [
        (*slip._replace(span=None, related=()), slip.span.source.name, slip.span.start, slip.span.end,  # type: ignore[arg-type]
         [(one.span.start, one.span.end, one.what) for one in slip.related])
        for slip in plan.slips
    ]  # fmt: skip
    blocks = [
        (block.label, block.placed.offset, block.placed.length, sorted(block.parsed.broken),
         [(line.word, block.span(line).text, [block.span(value).text for value in line.values])
          for line in block.parsed.statements])
        for block in plan.blocks
    ]  # fmt: skip
    names = [(name, block.placed.offset, block.placed.source is plan.source) for name, block in plan.names.items()]
    return [sorted(map(repr, slips)), blocks, names]


@pytest.mark.parametrize("name", ["fallow-ridge", "tavrish-road", "quennick-hollow"])
def test_reading_again_tells_what_reading_whole_tells(review: Review, name: str) -> None:
    desk, random, again = Desk(review), Random(name), 0
    path = ROOT / "examples" / f"{name}.habitat"
    text = path.read_text(encoding="utf-8")
    plan = desk.read(Source(str(path), text))
    for _ in range(150):
        at = random.randrange(len(text))
        new = random.choice([random.choice('0123456789 ab\n\\"#,.N'), random.choice(LINES)])
        taken = random.choice([0, 0, 1, 1, 2, 15])
        changed = Source(str(path), text[:at] + new + text[at + taken :])
        whole, quick = desk.read(changed), reread(plan, changed, review.plan_grammar)
        if quick is not None:
            again += 1
            assert facts(quick) == facts(whole), (text[at - 40 : at + 40], new, taken)
        if len(whole.slips) < 30:
            text, plan = changed.text, quick or whole
    assert again > 30  # it is not merely the plan read whole


def test_what_hangs_on_other_blocks_is_read_whole(review: Review) -> None:
    desk, grammar = Desk(review), review.plan_grammar
    text = 'plan "P"\ntrees\n  dbh 8in\nrow a\n  method hinge\n  stumps 0,0 9,0\n  spacing 3\ntree t\n  of a 2\n'
    plan = desk.read(Source("/p.habitat", text))
    for old, new in (("8in", "9in"), ("spacing 3", "spacing 2"), ('"P"', '"Q"'), ("row a", "row ab")):
        assert reread(plan, Source("/p.habitat", text.replace(old, new)), grammar) is None
    assert reread(plan, Source("/p.habitat", text.replace("of a 2", "of a 3")), grammar) is not None
