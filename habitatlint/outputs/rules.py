"""Rules as pages for people, and as JSON: the list of those in force, and one of them whole.

Figures and levels are those in force where one asks; where they are not the rule's own, who set them is said, and what
the rule's own is. As JSON, version 1: `{"version", "rules": [...]}`; a rule has `rule` as pack/slug, `title`,
`because`, `level` (the gravest in force), `own-level`, `level-by` (who set it, null for the rule itself), `safety`, and
`limits` by name with `value`, `own`, `by`, `least`, `largest`, `evidence` and `source`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from habitatlint.findings import FIRM, Fact, Level
from habitatlint.outputs.in_force import InForce, Said, own_levels
from habitatlint.outputs.sentences import clean, json_text, shown, wrapped
from habitatlint.reading.values import Written
from habitatlint.rulebook.book import Rulebook, limit_fact
from habitatlint.rulebook.rules import Example, Limit, Rule

VERSION = 1
WIDTH, INDENT = 100, 12


def listing(book: Rulebook, said: Said = Said()) -> str:
    """Every rule in force by pack: its gravest level, name and title; of a level that is set, by whom."""
    lines: list[str] = []
    held = InForce(book, said)
    in_force = {rule.name for rule in book.rules}
    for pack in sorted(book.packs, key=lambda pack: pack.name):
        pack = pack._replace(rules=tuple(rule for rule in pack.rules if rule.name in in_force))
        about = f": {pack.title}" if pack.title else ""
        lines.append(f"{pack.name}{about} ({pack.version})" if pack.version else f"{pack.name}{about}")
        longest = max((len(rule.slug) for rule in pack.rules), default=0)
        for rule in sorted(pack.rules, key=lambda rule: rule.slug):
            worst = held.worst(rule)
            own = f" (by {held.level(rule)[1]}; its own {own_levels(rule)})" if worst is not rule.worst else ""
            lines.append(f"  {worst.name:<8} {rule.slug:<{longest}}  {rule.title}{own}")
        lines.append("")
    lines.append(f"{len(book.rules)} rules; `habitatlint rules NAME` shows one whole")
    return clean_lines(lines)


def page(rule: Rule, book: Rulebook, said: Said = Said()) -> str:
    """One rule whole: what, why, limits and on whose word, mends, and its examples as plans."""
    return clean_lines([f"{rule.name}: {rule.title}", "", *about(rule, InForce(book, said)), *_examples(rule)])


def as_json(rules: Iterable[Rule], held: InForce) -> str:
    return json_text({"version": VERSION, "rules": [_as_json(rule, held) for rule in rules]})


def _as_json(rule: Rule, held: InForce) -> dict[str, Any]:
    limits = {}
    for name, limit in rule.limits.items():
        fact, by = held.limit(rule, limit)
        ends = (limit.least, limit.largest)
        least, largest = (None if end is None else shown(Fact(end, limit.kind, limit.unit)) for end in ends)
        limits[name] = {"value": shown(fact), "own": shown(limit_fact(limit)), "by": by or None, "least": least,
                        "largest": largest, "evidence": limit.evidence, "source": clean(limit.source)}  # fmt: skip
    _, by = held.level(rule)
    return {"rule": rule.name, "title": clean(rule.title), "because": clean(rule.because),
            "level": held.worst(rule).name, "own-level": rule.worst.name, "level-by": by or None,
            "safety": rule.safety, "limits": limits}  # fmt: skip


def about(rule: Rule, held: InForce | None = None) -> list[str]:
    """A rule without its examples, as lines: as it holds, or by itself where that is not asked."""
    held = held or InForce(Rulebook(()))
    lines = _row("because", rule.because)
    for report in rule.reports:
        when = f", when {text_of(rule, report.when)}" if report.when is not None else ""
        lines += _row(held.graded(rule, report.level).name, bare(report.say) + when)
    if level := held.level_in_words(rule):
        lines += _row("level", level)
    for limit in rule.limits.values():
        lines += _row("limit", _limit(rule, limit, held))
    for name, words in rule.lists.items():
        lines += _row("list", f"{name}: {', '.join(words.words)} ({on_whose_word(words.evidence, words.source)})")
    for number, remedy in enumerate(rule.remedies, 1):
        by = "edits the plan" if remedy.actions else "by hand"
        lines += _row(f"mend {number}", f"{bare(remedy.say)} ({by})")
    if rule.safety:
        lines += _row("safety", "about people's safety: no mend of it changes a cut or a fall")
    if rule.slug in FIRM:
        lines += _row("always", "a slip of reading or naming: told at its own level, and never waived")
    if rule.formerly:
        lines += _row("formerly", ", ".join(rule.formerly))
    if rule.slug not in FIRM:
        lines += _row("change", how_to_change(rule, held))
    return lines


def text_of(rule: Rule, part: Written) -> str:
    """A part of a rule as it is written."""
    span = rule.span(part)
    return " ".join(span.source.text[span.start : span.end].split())


def bare(say: str) -> str:
    """A rule's words with what varies shown as such: `{t.block}` as `<t.block>`."""
    return say.replace("{", "<").replace("}", ">")


def on_whose_word(evidence: str, source: str) -> str:
    return "; ".join(part for part in (evidence.replace("-", " "), source) if part)


def _limit(rule: Rule, limit: Limit, held: InForce) -> str:
    value = held.limit_in_words(rule, limit)
    if limit.least is None or limit.largest is None:
        return f"{limit.name}: {value} ({on_whose_word(limit.evidence, limit.source)})"
    least, largest = (shown(Fact(end, limit.kind, limit.unit)) for end in (limit.least, limit.largest))
    return f"{limit.name}: {value}, from {least} to {largest} ({on_whose_word(limit.evidence, limit.source)})"


def how_to_change(rule: Rule, held: InForce) -> str:
    """The lines of a plan that change a rule, from what is in force."""
    ways = []
    if rule.limits:
        first = next(iter(rule.limits.values()))
        value = shown(held.limit(rule, first)[0])
        if first.kind not in ("duration", "density"):  # those are written with their blank
            value = value.replace(" ", "")
        ways.append(f"`set {rule.slug}.{first.name} {value}`")
    worst = held.worst(rule)
    other = rule.worst if worst is Level.off else Level.off if worst is Level.note else Level.note
    ways.append(f"`level {rule.slug} {other.name}`")
    ways.append(f'`waive {rule.slug} on NAME until 2027-12-31 because "..."`')
    return f"in a plan: {', '.join(ways)}"


def _examples(rule: Rule) -> list[str]:
    """The examples as they stand in the rule's file, carets and all."""
    source = rule.placed.source
    lines: list[str] = []
    for example in rule.examples:
        lines += ["", *_headed(example), ""]
        number = example.first_line
        while number <= len(source.line_starts):
            line = source.line(number)
            if line.strip() and line[0] not in " \t#":
                break
            lines.append(f"    {line[example.indent :]}".rstrip() if line.strip() else "")
            number += 1
        while lines and not lines[-1]:
            lines.pop()
        if example.mended:
            lines += ["", heading("mended"), ""]
            lines += [f"    {line}".rstrip() for line in example.mended.rstrip("\n").split("\n")]
    return lines


def _headed(example: Example) -> list[str]:
    """What stands above an example; of one that no mend clears, why."""
    if not example.left:
        return [heading(example.kind)]
    return wrapped(f"A plan that breaks it, and that no edit mends: {example.left}", "", 0, WIDTH)


def heading(kind: str) -> str:
    return {
        "broken": "A plan that breaks it:",
        "kept": "A plan that keeps it:",
        "mended": "The same, mended (the blocks that change):",
    }[kind]


def _row(word: str, text: str) -> list[str]:
    return wrapped(text, f"  {word:<10}", INDENT, WIDTH)


def clean_lines(lines: list[str]) -> str:
    return "".join(f"{clean(line)}\n" for line in lines)
