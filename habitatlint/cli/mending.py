"""`mend`: proven mends made in plans, one by one with a question, all at once, or as a patch."""

from __future__ import annotations

import codecs
import difflib
from collections.abc import Iterator, Sequence

import click

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.assembly import review
from habitatlint.findings import Finding, Mend, Policy
from habitatlint.language.editing import applied
from habitatlint.mending import mended
from habitatlint.outputs.gnu import line as first_line
from habitatlint.outputs.sentences import clean, worded
from habitatlint.review import Review
from habitatlint.source import Source

#: what may be answered to a mend that is shown
ANSWERS = "[y]es, [n]o, [a]ll that are left, [q]uit"


class Mender:
    """Makes the mends of plans by one way of choosing them. `rule` is a rule's name, "" for all."""

    def __init__(self, policy: Policy, rule: str) -> None:
        self.checker: Review = review()
        self.policy = policy
        self.rule = self._rule(rule)

    def _rule(self, name: str) -> str:
        if not name:
            return ""
        found = self.checker.rulebook.find(name)
        if found is None:
            raise files.FileTrouble(f"no rule is called `{clean(name)}`; `habitatlint rules` lists them")
        return found.name

    def judged(self, source: Source) -> Report:
        return self.checker.check(source, self.policy)

    def chosen(self, finding: Finding) -> bool:
        return not self.rule or finding.rule == self.rule

    def all(self, source: Source) -> Report:
        """A plan with every proven mend made, as it is then judged."""
        return mended(self.judged(source), self.judged, self.chosen)

    def why(self, report: Report) -> Iterator[str]:
        """For each finding, what became of each of its mends."""
        for finding in filter(self.chosen, report.findings):
            mends = self.checker.mends(report, finding, self.policy)
            if mends:
                yield first_line(finding, report.units)
            for mend in mends:
                said = {"clears": "clears it", "advice": "advice"}.get(mend.proof, f"withheld: {mend.why}")
                yield f"    {worded(mend.say, finding, report.units)}     {said}"

    def asked(self, report: Report) -> Report:
        """A plan with those proven mends made that the person at the terminal wants, one by one."""
        passed: set[tuple[str, frozenset[str], str]] = set()
        while (found := self._next(report, passed)) is not None:
            finding, mend = found
            text = applied(report.source.text, mend.edits)
            click.echo(first_line(finding, report.units))
            click.echo(f"mend: {worded(mend.say, finding, report.units)}")
            click.echo("".join(patch(report.source.name, report.source.text, text)), nl=False)
            answer = click.prompt(ANSWERS, type=click.Choice(["y", "n", "a", "q"]), default="n", show_choices=False)
            if answer == "q":
                break
            if answer == "a":
                return mended(report, self.judged, self.chosen)
            passed.add((finding.rule, finding.names, mend.say))
            if answer == "y":
                report = self.judged(Source(report.source.name, text))
        return report

    def _next(self, report: Report, passed: set[tuple[str, frozenset[str], str]]) -> tuple[Finding, Mend] | None:
        for finding in filter(self.chosen, report.findings):
            if all((finding.rule, finding.names, mend.say) in passed for mend in finding.mends if mend.changes):
                continue
            for mend in self.checker.mends(report, finding, self.policy):
                if mend.proof == "clears" and (finding.rule, finding.names, mend.say) not in passed:
                    return finding, mend
        return None


def patch(name: str, before: str, after: str) -> list[str]:
    """A unified diff that `git apply` takes; nothing where nothing changes."""
    found = difflib.unified_diff(_lines(before), _lines(after), f"a/{name}", f"b/{name}")
    return [line if line.endswith("\n") else f"{line}\n\\ No newline at end of file\n" for line in found]


def _lines(text: str) -> list[str]:
    """Lines as git counts them: by line feeds alone, their ends kept."""
    found = text.split("\n")
    return [f"{line}\n" for line in found[:-1]] + ([found[-1]] if found[-1] else [])


def mend(plans: Sequence[str], policy: Policy, *, every: bool, as_patch: bool, why: bool, rule: str) -> bool:
    """Mends plans; whether any was changed, or would be. Raises FileTrouble in one line."""
    mender = Mender(policy, rule)
    changed = False
    for path in dict.fromkeys(path for plan in plans for path in files.plans_in(plan)):
        before = files.read_bytes(path)
        shown = files.shown(path)
        source = Source(shown, files.decode(before, shown))
        if why:
            for line in mender.why(mender.judged(source)):
                click.echo(line)
            continue
        report = mender.all(source) if every or as_patch else mender.asked(mender.judged(source))
        text = report.source.text
        if text == source.text:
            continue
        changed = True
        if as_patch:
            mark = "\ufeff" if before.startswith(codecs.BOM_UTF8) else ""
            click.echo("".join(patch(shown, mark + source.text, mark + text)), nl=False)
            continue
        files.rewrite(path, before, files.encode(text, before))
        left = len(report.findings)
        click.echo(f"{shown}: mended; {left} finding{'' if left == 1 else 's'} left", err=True)
    return changed
