"""The rules in force as one page for a browser: what each asks and why, its limits and on whose word, its examples.

Whole in one file, without a script, asking nothing of any network; a pack may be a stranger's, so all that comes of one
is escaped, and the page's policy lets nothing style it but this package's own sheet. A rule has its name as its place
on the page: `rules.html#entry/live-hinge-near-entry`. Figures and levels are those in force; who set them, and what the
rule's own is, stands beside them.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple

from habitatlint.check import Report
from habitatlint.findings import FIRM, Fact, Finding, Level
from habitatlint.language.highlight import highlighted
from habitatlint.outputs.in_force import InForce, Said
from habitatlint.outputs.papers.as_page import policy_for, styled
from habitatlint.outputs.rules import bare, heading, how_to_change, text_of
from habitatlint.outputs.sentences import clean, measured_and_wanted, message, shown
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import Example, Limit, Pack, Rule

#: an example as it is judged: what the rule finds in its plan, with the report that has the plan's units
Judge = Callable[[Rule, Example], tuple[Report, list[Finding]]]


class Assets(NamedTuple):
    """What ships for the page: the texts of `paper.css` and `rules.css`, and the type as WOFF2."""

    paper: str
    style: str
    regular: bytes
    bold: bytes


def rules_page(book: Rulebook, judge: Judge, assets: Assets, said: Said = Said()) -> str:
    """The page as HTML, the same text every time for the same rules and what is said of them."""
    held = InForce(book, said)
    style = styled(assets.paper + assets.style, assets.regular, assets.bold)
    packs = [pack for pack in sorted(book.packs, key=lambda one: one.name) if _own(pack, book)]
    count = len(book.rules)
    contents = "".join(_contents(pack, held) for pack in packs)
    body = "\n".join(_pack(pack, held, judge) for pack in packs)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy_for(style)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>The rules in force</title>
<style>{style}</style>
</head>
<body>
<header>
<h1>The rules in force</h1>
<p class="subtitle">{count} rule{"" if count == 1 else "s"} of {len(packs)} pack{"" if len(packs) == 1 else "s"}</p>
<p>A rule claims no more than its source: where a figure is common practice, no more is said of it. These rules check
paper. Local codes, the product's label and licensed foresters and applicators stand above them, and a trained feller
decides tree by tree.</p>
<p>Figures and levels are those that hold where this page was made; where settings or a pack have changed one, the
rule's own stands beside it. Examples are judged without what settings change.</p>
</header>
<nav aria-label="Contents">
{contents}</nav>
<main>
{body}
</main>
</body>
</html>
"""


def _own(pack: Pack, book: Rulebook) -> list[Rule]:
    """The rules of a pack that are in force."""
    return [rule for rule in book.rules if rule.pack == pack.name]


def _contents(pack: Pack, held: InForce) -> str:
    items = "".join(
        f'<li>{_level(held.worst(rule))} <a href="#{_text(rule.name)}">{_text(rule.title or rule.slug)}</a></li>\n'
        for rule in _own(pack, held.book)
    )
    return f'<h3><a href="#{_text(pack.name)}">{_text(pack.title or pack.name)}</a></h3>\n<ul>\n{items}</ul>\n'


def _level(level: Level) -> str:
    return f'<span class="level {level.name}">{level.name}</span>'


def _pack(pack: Pack, held: InForce, judge: Judge) -> str:
    facts = [("pack", pack.name), ("version", pack.version), ("by", pack.author), ("licence", pack.licence)]
    facts += [("builds on", ", ".join(saying.name for saying in pack.said("builds-on")))]
    facts += [("leaves", ", ".join(saying.name for saying in pack.said("leaves")))]
    told = "".join(f"<div><dt>{word}</dt><dd>{_text(value)}</dd></div>\n" for word, value in facts if value)
    about = f"<p>{_text(pack.about)}</p>\n" if pack.about else ""
    rules = "\n".join(_rule(rule, held, judge) for rule in _own(pack, held.book))
    return (
        f'<section id="{_text(pack.name)}">\n<h2>{_text(pack.title or pack.name)}</h2>\n'
        f'<dl class="facts">\n{told}</dl>\n{about}{rules}\n</section>'
    )


def _rule(rule: Rule, held: InForce, judge: Judge) -> str:
    parts = [
        f'<section class="rule" id="{_text(rule.name)}">',
        '<div class="asks">',
        f"<h3>{_text(rule.title or rule.slug)}</h3>",
        f'<p class="name"><code>{_text(rule.name)}</code>{_formerly(rule)}</p>',
        f"<p>{_text(bare(rule.because))}</p>",
        _reports(rule, held),
        _limits(rule, held),
        "</div>",
        _mends(rule),
        *_notes(rule, held),
        _examples(rule, judge),
        "</section>",
    ]
    return "\n".join(part for part in parts if part)


def _formerly(rule: Rule) -> str:
    places = "".join(
        f' <span id="{_text(rule.pack)}/{_text(name)}">formerly {_text(name)}</span>' for name in rule.formerly
    )
    return f",{places}" if places else ""


def _reports(rule: Rule, held: InForce) -> str:
    items = []
    for report in rule.reports:
        when = (
            f" <span class='small'>when <code>{_text(text_of(rule, report.when))}</code></span>" if report.when else ""
        )
        level = _level(held.graded(rule, report.level))
        items.append(f"<li>{level} {_text(bare(report.say))}{when}</li>")
    if level := held.level_in_words(rule):
        items.append(f"<li>its level is {_text(level)}</li>")
    return f"<ul>\n{chr(10).join(items)}\n</ul>"


def _limits(rule: Rule, held: InForce) -> str:
    rows = []
    for limit in rule.limits.values():
        fact, by = held.limit(rule, limit)
        figure = shown(fact)
        whose = held.limit_in_words(rule, limit).removeprefix(f"{figure}, ")
        told = f'{_text(figure)} <span class="small">{_text(whose)}</span>' if by else _text(figure)
        rows.append(("", limit.name, told, _range(limit), limit.evidence.replace("-", " "), limit.source))
    for name, words in rule.lists.items():
        listed = _text(", ".join(words.words))
        rows.append((' class="words"', name, listed, "", words.evidence.replace("-", " "), words.source))
    if not rows:
        return ""
    heads = ["limit", "figure", "may be", "on whose word", "source"]
    if not any(row[-1] for row in rows):  # an empty column takes room from the others
        heads.pop()
    head = "".join(f'<th scope="col">{one}</th>' for one in heads)
    body = ""
    for which, name, told, *rest in rows:
        cells = [_text(name), told, *map(_text, rest)][: len(heads)]
        body += f"<tr{which}>{''.join(f'<td>{cell}</td>' for cell in cells)}</tr>\n"
    table = f'<table class="limits">\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody></table>'
    return f'<div class="wide" tabindex="0">{table}</div>'


def _range(limit: Limit) -> str:
    if limit.least is None or limit.largest is None:
        return ""
    least, largest = (shown(Fact(end, limit.kind, limit.unit)) for end in (limit.least, limit.largest))
    return f"{least} to {largest}"


def _mends(rule: Rule) -> str:
    if not rule.remedies:
        return ""
    by_program = ' <span class="small">(habitatlint mend can write this)</span>'
    items = "".join(f"<li>{_text(bare(one.say))}{by_program if one.actions else ''}</li>\n" for one in rule.remedies)
    return f"<h4>What mends it</h4>\n<ul>\n{items}</ul>"


def _notes(rule: Rule, held: InForce) -> Iterator[str]:
    if rule.safety:
        yield "<p><b>About people's safety:</b> no mend of it changes a cut or a fall; it is told though waived.</p>"
    if rule.slug in FIRM:
        yield '<p class="small">A slip of reading or naming: told at its own level, and never waived.</p>'
    else:
        yield f'<p class="small">{_text(how_to_change(rule, held)).replace("`", "")}</p>'


# -- examples --------------------------------------------------------------------------------------------------


def _examples(rule: Rule, judge: Judge) -> str:
    if not rule.examples:
        return ""
    body = "\n".join(_example(rule, example, judge) for example in rule.examples)
    count = len(rule.examples)
    return f"<details><summary>{count} example{'' if count == 1 else 's'}</summary>\n{body}\n</details>"


def _example(rule: Rule, example: Example, judge: Judge) -> str:
    report, found = judge(rule, example)
    given = [f"on {example.today.isoformat()}"] if example.today else []
    given += [f"with {name} {shown(Fact(v.value.value, v.value.kind, v.value.unit))}" for name, v in example.settings]
    left = f"<p>No edit mends it: {_text(example.left)}</p>\n" if example.left else ""
    mended = f"<p>{_text(heading('mended'))}</p>\n{_plan(example.mended, [], report)}" if example.mended else ""
    judged = f" ({_text(', '.join(given))})" if given else ""
    return (
        f'<div class="example {example.kind}">\n<p>{_text(heading(example.kind).rstrip(":"))}{judged}:</p>\n'
        f"{left}{_plan(example.text, found, report)}{mended}</div>"
    )


def _plan(text: str, found: Iterable[Finding], report: Report) -> str:
    """A plan in colour, what is found marked where it stands, and told below that line."""
    by_line: dict[int, list[Finding]] = {}
    for finding in found:
        by_line.setdefault(finding.span.line, []).append(finding)
    lines = []
    for number, pieces in enumerate(highlighted(text), 1):
        here = by_line.get(number, [])
        if not here and not any(piece.strip() for _, piece in pieces):
            continue  # where a caret line stood
        marks = [(one.span.column - 1, one.span.column - 1 + max(1, one.span.end - one.span.start)) for one in here]
        told = "".join(f'<span class="told">{_told(one, report)}</span>' for one in here)
        lines.append(f"{''.join(_marked(pieces, marks))}{told}" if told else f"{''.join(_marked(pieces, marks))}\n")
    return f'<pre tabindex="0">{"".join(lines)}</pre>\n'


def _marked(pieces: Iterable[tuple[str, str]], marks: list[tuple[int, int]]) -> Iterator[str]:
    """The pieces of a line as HTML, those within marks marked."""
    column = 0
    for kind, text in pieces:
        ends = {column, column + len(text)}
        ends |= {end for mark in marks for end in mark if column < end < column + len(text)}
        cuts = sorted(ends)
        for start, end in pairwise(cuts):
            part = _text(text[start - column : end - column])
            part = f'<span class="{kind}">{part}</span>' if kind else part
            yield f"<mark>{part}</mark>" if any(low <= start and end <= high for low, high in marks) else part
        column += len(text)


def _told(finding: Finding, report: Report) -> str:
    measured, wanted = measured_and_wanted(finding, report.units)
    figures = f"; measured {measured}, wanted {wanted}" if measured else ""
    return f"<b>{finding.level.name}</b> {_text(message(finding, report.units))}{_text(figures)}"


def _text(text: str) -> str:
    return html.escape(clean(text))
