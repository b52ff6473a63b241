"""`mend`: proven mends made in plans, one by one with a question, all at once, or as a patch."""

from __future__ import annotations

import codecs
from collections.abc import Iterator, Sequence
from datetime import date
from typing import NamedTuple

import click

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.formatting import each_plan, show_diff
from habitatlint.cli.project import Project, project_of
from habitatlint.findings import Finding, Level, Mend
from habitatlint.language.editing import applied
from habitatlint.mending import Told, mended, told
from habitatlint.outputs.gnu import line as first_line
from habitatlint.outputs.sentences import clean, lines_unread, worded
from habitatlint.source import Source

#: what may be answered to a mend that is shown
ANSWERS = "[y]es, [n]o, [a]ll that are left, [q]uit"


class Mender:
    """Makes the mends of plans of one project by one way of choosing them: those of one rule (by its name, "" for all),
    of findings from a level on."""

    def __init__(self, project: Project, today: date | None, rule: str, least: Level) -> None:
        self.checker = project.review
        self.policy = project.policy(today)
        self.judges = self.checker.judges(self.policy)
        self.rule, self.least = self._rule(rule), least

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
        return finding.level >= self.least and (not self.rule or finding.rule == self.rule)

    def all(self, report: Report) -> Report:
        """A plan with every proven mend made, as it is then judged."""
        return mended(report, self.judges, self.chosen)

    def why(self, report: Report) -> Iterator[str]:
        """For each finding, what became of each of its mends."""
        for finding in filter(self.chosen, report.findings):
            mends = self.checker.mends(report, finding, self.policy)
            if mends:
                yield first_line(finding, report.units)
            for mend in mends:
                cleared = "clears it" + (f"; {mend.why}" if mend.why else "")
                said = {"clears": cleared, "advice": "advice"}.get(mend.proof, f"withheld: {mend.why}")
                yield f"    {worded(mend.say, finding, report.units)}     {said}"

    def asked(self, report: Report) -> Report:
        """A plan with those proven mends made that the person at the terminal wants, one by one."""
        passed: set[tuple[Told, str]] = set()
        while (found := self._next(report, passed)) is not None:
            finding, mend = found
            text = applied(report.source.text, mend.edits)
            click.echo(first_line(finding, report.units))
            click.echo(f"mend: {worded(mend.say, finding, report.units)}")
            if mend.why:
                click.echo(f"      {mend.why}")
            show_diff(report.source.name, report.source.text, text)
            answer = _answer()
            if answer == "q":
                break
            if answer == "a":
                return mended(report, self.judges, self.chosen)
            if answer == "y":  # the finding goes, and another of the same words may be left
                report = self.judged(Source(report.source.name, text))
            else:
                passed.add((told(finding), mend.say))
        return report

    def _next(self, report: Report, passed: set[tuple[Told, str]]) -> tuple[Finding, Mend] | None:
        # first what is misspelt, for all else is judged on what it hides, then the gravest
        order = sorted(filter(self.chosen, report.findings), key=lambda finding: (not finding.firm, -finding.level))
        for finding in order:
            if all((told(finding), mend.say) in passed for mend in finding.mends if mend.changes):
                continue
            for mend in self.checker.mends(report, finding, self.policy):
                if mend.proof == "clears" and (told(finding), mend.say) not in passed:
                    return finding, mend
        return None


def _answer() -> str:
    """What the person at the terminal answers; where nothing more comes, that they have had enough, which keeps what
    was answered before."""
    try:
        choice = click.Choice(["y", "n", "a", "q"], case_sensitive=False)
        return str(click.prompt(ANSWERS, type=choice, default="n", show_choices=False)).lower()
    except click.Abort:
        click.echo()
        return "q"


class How(NamedTuple):
    """How plans are mended: asked one by one, every proven mend, as a patch, or only told why; of one rule, and of
    findings from a level on."""

    every: bool = False
    as_patch: bool = False
    why: bool = False
    rule: str = ""
    least: Level = Level.warning


def mend(plans: Sequence[str], today: date | None, how: How) -> tuple[bool, list[str]]:
    """Mends plans; whether any was changed, or would be, and a line for each that cannot be read or written. Raises
    FileTrouble for a rule that there is not."""
    menders: dict[str, Mender] = {}
    troubles: list[str] = []
    changed = False
    for path in each_plan(plans, troubles):
        project = project_of(path)
        place = project.settings.path
        if place not in menders:
            menders[place] = Mender(project, today, how.rule, how.least)
        try:
            changed |= _mend(path, menders[place], how)
        except files.FileTrouble as trouble:
            troubles.append(str(trouble))
    return changed, troubles


def _mend(path: str, mender: Mender, how: How) -> bool:
    """Mends one plan; whether it was changed, or would be."""
    before = files.read_bytes(path)
    shown = files.shown(path)
    source = Source(shown, files.decode(before, shown))
    report = mender.judged(source)
    if report.plan.head is None:  # judged alone, what stands in the plan that includes it would be missing
        why = "it has no `plan` line: mend the plan that includes it"
        click.echo(f"{clean(shown)}: left as it is, for {why}", err=True)
        return False
    if how.why:
        for line in mender.why(report):
            click.echo(line)
        return False
    report = mender.all(report) if how.every or how.as_patch else mender.asked(report)
    text = report.source.text
    if text == source.text:
        left = sum(map(mender.chosen, report.findings))
        unread = lines_unread(report)
        if left:
            why = f"; {unread}: mend them by hand first" if unread else "; `habitatlint mend --why` tells why of each"
            click.echo(f"{clean(shown)}: no mend is made; {left} finding{'' if left == 1 else 's'} left{why}", err=True)
        return False
    if how.as_patch:
        mark = "\ufeff" if before.startswith(codecs.BOM_UTF8) else ""
        show_diff(shown, mark + source.text, mark + text)
        return True
    if files.rewrite(path, before, files.encode(text, before)):
        left = len(report.findings)
        click.echo(f"{clean(shown)}: mended; {left} finding{'' if left == 1 else 's'} left", err=True)
    return True
