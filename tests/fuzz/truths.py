"""What holds of any bytes at all, read as a plan, as rules or as a file of exchange.

Each function here takes bytes and returns where all held; where something did not, it raises AssertionError, or whatever
it was that should have been a finding or one line.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

from habitatlint import files
from habitatlint.check import Report, find_no_pack
from habitatlint.cli.assembly import review as assembled
from habitatlint.exchange import forms
from habitatlint.exchange.exporting import contents
from habitatlint.exchange.features import ExchangeTrouble
from habitatlint.exchange.importing import into_new
from habitatlint.findings import Policy
from habitatlint.ground.scene import Scene
from habitatlint.language.formatting import formatted
from habitatlint.language.plan import LAYOUT, find_nothing, read_plan
from habitatlint.outputs import Style, packs, render
from habitatlint.outputs import rules as pages
from habitatlint.outputs.sentences import rows
from habitatlint.packs.soundness import look
from habitatlint.reading.blocks import read
from habitatlint.review import Review, pack_reader
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import rule_grammar
from habitatlint.source import Source, Span

POLICY = Policy(date(2026, 2, 10))
#: endings under which bytes are tried as a file of exchange
EXCHANGED = (".gpx", ".kml", ".kmz", ".geojson")
#: slips of what can be read no more, or stands for two things
UNREAD = frozenset({"syntax", "unknown-word", "bad-value", "unknown-name", "name-used-twice", "mixed-indent"})
_BIDIRECTIONAL = frozenset({"LRE", "RLE", "PDF", "LRO", "RLO", "LRI", "RLI", "FSI", "PDI"})

#: what rules are judged on: a little of everything that a rule may name
SMALL = """\
plan "Small"
  hunted 2026-11-07..2027-01-18
boundary
  outline 0,0 400,0 400,400 0,400
pocket oak
  outline 50,50 150,50 150,100 50,100
  bed 60,60 90,60
path run
  use travel
  line 0,110 300,110
  from oak
path lane
  use entry
  line 0,20 400,20
stand high
  at 300,120
  winds NW W
food plot
  kind plot
  outline 300,200 380,200 380,260 300,260
row first
  in oak
  method hinge
  stumps 60,60 140,60
  spacing 20
  fall N
  dbh 8in
  step 1
work
  step 1 "Cut" 2026-02-15..2026-03-01
"""


@cache
def reviewer() -> Review:
    """The shipped packs, with nothing looked up on disk."""
    return replace(assembled(), find=find_nothing, find_pack=find_no_pack)


@cache
def _read_pack() -> Callable[..., Any]:
    return pack_reader(reviewer().plan_grammar, lambda: files.grammar("rules", rule_grammar))


def harmless(text: str) -> None:
    """Nothing in a text steers a terminal or turns the order of what is read."""
    for character in set(text) - {"\n", "\t"}:
        assert unicodedata.category(character) != "Cc", f"a control character {character!r} in what is shown"
        assert unicodedata.bidirectional(character) not in _BIDIRECTIONAL, f"{character!r} in what is shown"


def placed(spans: Iterable[Span]) -> None:
    """Each span lies in its text."""
    for span in spans:
        assert 0 <= span.start <= span.end <= len(span.source.text), f"a span {span.start}..{span.end} out of its text"
        assert 1 <= span.line <= len(span.source.line_starts) and span.column >= 1


def told(report: Report) -> None:
    """A report has places that lie in their texts, and is shown in every form without harm."""
    findings = (*report.findings, *report.waived)
    placed(finding.span for finding in findings)
    placed(related.span for finding in findings for related in finding.related)
    for form in ("text", "gnu", "json"):
        page = render(form, [report.verdict], Style())
        harmless(page)
        if form == "json":
            json.loads(page)
    lines = render("gnu", [report.verdict], Style()).splitlines()
    assert all(re.match(r"[^:]+:[0-9]+:[0-9]+: (error|warning|note): ", line) for line in lines), lines
    for finding in findings:
        rows(finding, report.units)


def _said(source: Source) -> list[tuple[object, ...]]:
    """What the blocks of a text say, without where they say it."""
    return [
        (
            one.parsed.noun,
            one.parsed.head and (one.parsed.head.rule, [(v.kind, repr(v.value)) for v in one.parsed.head.values
                                                        if isinstance(v.value, str)]),
            sorted((statement.word, statement.rule, len(statement.values)) for statement in one.parsed.statements),
            [(slip.kind, slip.found, slip.expected) for slip in one.parsed.troubles if slip.kind != "mixed-indent"],
            one.parsed.broken,
        )
        for one in read(source, reviewer().plan_grammar, LAYOUT)
    ]  # fmt: skip


def laid_out(source: Source) -> None:
    """The standard form says what the text says, loses no sign, and is its own standard form."""
    grammar = reviewer().plan_grammar
    after = formatted(source, grammar)
    assert formatted(Source(source.name, after), grammar) == after, "laid out twice is another text"
    assert re.sub(r"[\s\\]", "", after) == re.sub(r"[\s\\]", "", source.text), "signs lost or won by the layout"
    before = source if after == source.text else Source(source.name, source.text.replace("\r\n", "\n"))
    plain = Source(source.name, after if after == source.text else after.replace("\r\n", "\n"))
    assert _said(plain) == _said(before), "the layout says something else"


def plan(data: bytes) -> None:
    """Bytes as a plan: refused in a line, or judged, shown, mended and laid out."""
    try:
        text = files.decode(data, "fuzzed.habitat")
    except files.FileTrouble as trouble:
        harmless(str(trouble))
        return
    source = Source("fuzzed.habitat", text)
    review = reviewer()
    review.memory.clear()
    report = review.check(source, POLICY)
    told(report)
    if any(finding.mends for finding in report.findings):
        told(review.tried(report, POLICY))
    laid_out(source)


def rules(data: bytes) -> None:
    """Bytes as a file of rules: refused in a line; or read, its slips placed, and if it has none, judged by on a small
    plan and looked at as `pack check` does."""
    try:
        text = files.decode(data, "fuzzed.rules")
    except files.FileTrouble as trouble:
        harmless(str(trouble))
        return
    review = reviewer()
    review.memory.clear()
    pack = _read_pack()("fuzzed", [Source("fuzzed.rules", text)])
    placed(slip.span for slip in pack.slips)
    placed(related.span for slip in pack.slips for related in slip.related)
    alone = replace(review, rulebook=Rulebook(()))
    looked = look(pack, alone, review.vocabulary)
    placed(remark.span for remark in looked.remarks)
    for form in packs.FORMS:
        harmless(packs.render(form, looked))
    if not alone.rulebook.in_the_way(pack):
        book = Rulebook((pack,))
        harmless("".join((pages.listing(book), *(pages.page(rule, book) for rule in pack.rules))))
    if pack.rules and not pack.slips and not alone.rulebook.in_the_way(pack):
        judging = replace(review, rulebook=Rulebook((pack,)), memory={})
        report = judging.check(Source("small.habitat", SMALL), POLICY)
        told(report)
        if any(finding.mends for finding in report.findings):
            told(judging.tried(report, POLICY))


def exchanged(data: bytes) -> None:
    """Bytes as a file of each ending: refused in a line; or made into a plan that reads whole (what a file does not say
    may be missing in it), in the standard form's reach, which goes out again in every form."""
    for ending in EXCHANGED:
        try:
            brought = into_new([(f"fuzzed{ending}", forms.read(f"fuzzed{ending}", {ending: data}))], _plans())
        except ExchangeTrouble as trouble:
            assert "\n" not in str(trouble), f"a trouble of several lines: {trouble}"
            continue
        harmless(brought.text)
        source = Source("brought.habitat", brought.text)
        scene = Scene(read_plan(source, _plans(), find_nothing))
        unread = [slip for slip in scene.plan.slips if slip.kind in UNREAD]
        assert unread == [], f"what was brought has slips: {unread[0].kind} {unread[0].found}"
        laid_out(source)
        for write in forms.WRITTEN.values():
            write(contents(scene))


def _plans() -> Any:
    return reviewer().plan_grammar
