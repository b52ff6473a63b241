"""Verdicts in the Static Analysis Results Interchange Format, SARIF 2.1.0 (OASIS Standard, with Errata 01).

One run. Its rule table holds every rule that was judged; each finding is a result under its rule, marked by a region of
the plan with its text, with the other places it speaks of, and with a fix for each mend that was proven. Waived
findings stand among them, suppressed in the source with the waiver's reason; findings that a baseline holds are
suppressed outside it. A rule that is not as the pins have it says so by its property `sincePins`, "new" or "changed";
what differs in all, rules that are gone too, is told as notifications of the tool's configuration.

Paths are relative to the folder that the command was run in (`%SRCROOT%`), which stays unnamed: a log bears no path of
the machine. All is ASCII, so that what a plan says steers no terminal.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from typing import Any
from urllib.parse import quote

from habitatlint import __version__
from habitatlint.findings import Edit, Finding, Mend
from habitatlint.outputs import Run, Style
from habitatlint.outputs.baseline import content
from habitatlint.outputs.rules import about, clean_lines
from habitatlint.outputs.sentences import clean, message, rows, worded
from habitatlint.outputs.text import since_pins
from habitatlint.rulebook.pinning import Since
from habitatlint.rulebook.rules import Rule
from habitatlint.source import Span
from habitatlint.verdict import Verdict

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
ROOT = "%SRCROOT%"
#: a path that begins at a root: `/farms/a.habitat`, `C:/farms/a.habitat`
_ROOTED = re.compile(r"(?:[A-Za-z]:)?/")


def render(verdicts: Sequence[Verdict], style: Style) -> str:
    log = {"$schema": SCHEMA, "version": "2.1.0", "runs": [_run(verdicts, style.run)]}
    return json.dumps(log, indent=2) + "\n"


def _run(verdicts: Sequence[Verdict], run: Run) -> dict[str, Any]:
    judged = {name for verdict in verdicts for name in verdict.rules}
    table = [run.rules[name] for name in sorted(judged)]
    index = {rule.name: number for number, rule in enumerate(table)}
    results = [
        _result(finding, verdict, index, run)
        for verdict in verdicts
        for finding in sorted((*verdict.findings, *verdict.waived, *verdict.known), key=lambda finding: finding.order)
    ]
    read = {name for verdict in verdicts for name in (verdict.source.name, *verdict.included)}
    since = list(dict.fromkeys(verdict.since for verdict in verdicts if verdict.since))
    driver = {"name": "habitatlint", "version": __version__, "rules": [_rule(rule, since) for rule in table]}
    return {
        "tool": {"driver": driver},
        "invocations": [_invocation(run, since)],
        "originalUriBaseIds": {ROOT: {"description": {"text": "The folder that the command was run in."}}},
        "artifacts": [{"location": _artifact(name), "roles": ["analysisTarget"]} for name in sorted(read)],
        "columnKind": "unicodeCodePoints",
        "results": results,
    }


def _invocation(run: Run, since: Iterable[Since]) -> dict[str, Any]:
    told: list[dict[str, Any]] = [{"level": "error", "message": _text(clean(line))} for line in run.troubles]
    if run.stale:
        place = {"physicalLocation": {"artifactLocation": _artifact(run.baseline)}}
        told.append({"level": "note", "message": _text(run.stale), "locations": [place]})
    pins = [{"level": "note", "message": _text(line)} for line in since_pins(since)]
    return {
        "executionSuccessful": not run.troubles,
        "exitCode": run.status,
        **({"toolExecutionNotifications": told} if told else {}),
        **({"toolConfigurationNotifications": pins} if pins else {}),
    }


def _rule(rule: Rule, since: Iterable[Since]) -> dict[str, Any]:
    evidence, source = rule.evidence
    differs = [word for word in ("new", "changed") if any(rule.name in getattr(one, word) for one in since)]
    return {
        "id": rule.name,
        "shortDescription": _text(clean(rule.title or rule.slug)),
        "fullDescription": _text(clean(rule.because or rule.title or rule.slug)),
        "help": _text(clean_lines(about(rule))),
        "defaultConfiguration": {"level": rule.worst.name},
        "properties": {
            "tags": [rule.pack, *(["safety"] if rule.safety else [])],
            "evidence": evidence,
            "source": source,
            **({"sincePins": differs[0]} if differs else {}),
        },
    }


def _result(finding: Finding, verdict: Verdict, index: dict[str, int], run: Run) -> dict[str, Any]:
    units = verdict.units
    told = [message(finding, units), *(f"{word}: {words}" for word, words in rows(finding, units))]
    related = [
        {"id": number, **_location(one.span), "message": _text(clean(one.what))}
        for number, one in enumerate(finding.related, 1)
    ]
    fixes = [_fix(mend, finding, units) for mend in finding.mends if mend.proof == "clears" and mend.edits]
    known = any(finding is one for one in verdict.known)
    return {
        "ruleId": finding.rule,
        "ruleIndex": index[finding.rule],
        "level": finding.level.name,
        "message": _text("\n".join(told)),
        "locations": [_location(finding.span)],
        **({"relatedLocations": related} if related else {}),
        "partialFingerprints": {"content/v1": content(finding).fingerprint},
        # on all results or on none, the standard says
        "suppressions": _suppressions(finding, known),
        **({"baselineState": "unchanged" if known else "new"} if run.baseline else {}),
        **({"fixes": fixes} if fixes else {}),
    }


def _suppressions(finding: Finding, known: bool) -> list[dict[str, str]]:
    if finding.waived:
        return [{"kind": "inSource", "status": "accepted", "justification": clean(finding.waived)}]
    return [{"kind": "external", "status": "accepted", "justification": "the baseline has it"}] if known else []


def _fix(mend: Mend, finding: Finding, units: str) -> dict[str, Any]:
    files: dict[str, list[Edit]] = {}
    for edit in mend.edits:
        files.setdefault(edit.span.source.name, []).append(edit)
    changes = [
        {"artifactLocation": _artifact(name), "replacements": [_replacement(edit) for edit in files[name]]}
        for name in sorted(files)
    ]
    return {"description": _text(worded(mend.say, finding, units)), "artifactChanges": changes}


def _replacement(edit: Edit) -> dict[str, Any]:
    inserted = {"insertedContent": {"text": edit.text}} if edit.text else {}
    return {"deletedRegion": _region(edit.span), **inserted}


def _location(span: Span) -> dict[str, Any]:
    region = {**_region(span), "snippet": {"text": span.text}}
    return {"physicalLocation": {"artifactLocation": _artifact(span.source.name), "region": region}}


def _region(span: Span) -> dict[str, int]:
    """From the first character up to, not with, the last; both alike where text is only put in."""
    line, column = span.source.line_column(span.start)
    end_line, end_column = span.source.line_column(span.end)
    return {"startLine": line, "startColumn": column, "endLine": end_line, "endColumn": end_column}


def _artifact(name: str) -> dict[str, str]:
    if _ROOTED.match(name):
        path = quote(name, safe="/:", errors="surrogateescape")
        return {"uri": f"file://{path}" if path.startswith("/") else f"file:///{path}"}
    return {"uri": quote(name, errors="surrogateescape"), "uriBaseId": ROOT}


def _text(words: str) -> dict[str, str]:
    """A message in plain text; words of a plan make no link in it: `[words](address)` would be one."""
    return {"text": words.replace("](", "] (")}
