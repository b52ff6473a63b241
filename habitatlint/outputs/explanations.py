"""Why a rule did or did not fire at a line, in words and as JSON.

JSON, version 1: `{"version", "path", "line", "block", "rules": [...]}`. A rule has `rule` (pack/slug), `verdict`
("fires", "waived", "off", "not judged", "not", "nothing here"), `why` in a sentence, `found` (each with `line`,
`level`, `message`, `measured`, `wanted`, `fate`, and of a waiver its `waiver` line and `reason`), `steps` in the order
of judging (`kind` "looked", "asked" or "compared", `part` as the rule writes it, counts, and `cases` with their
`things` and values), `limits` (`value` as a person reads it, and who set it `by`), `level`, `level-by`, and
`not-judged` reasons.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from habitatlint.findings import Fact
from habitatlint.outputs.rules import on_whose_word, text_of
from habitatlint.outputs.sentences import clean, figures, json_text, measured_and_wanted, message, shown, wrapped
from habitatlint.reading.values import Written
from habitatlint.rulebook.explaining import Asked, Case, Compared, Explanation, Found, Looked, Origin, Said, Step
from habitatlint.rulebook.expressions import Constant
from habitatlint.rulebook.rules import Rule

VERSION = 1
WIDTH, INDENT = 100, 14

_VERDICTS = {
    "fires": "fires",
    "waived": "fires, and is waived",
    "off": "would fire, but is switched off",
    "not judged": "is not judged",
    "not": "does not fire",
    "nothing here": "looks at nothing here",
}
_ORDER = list(_VERDICTS)
#: what is at fault, by the comparison that says so
_FAULTS = {"<": "less than {}", "<=": "{} or less", ">": "more than {}", ">=": "{} or more"}


def whole(one: Explanation, place: str, units: str) -> str:
    """One rule at a block, step by step."""
    head = f"{one.rule.name} at {place}, {one.block.label}: {_VERDICTS[one.verdict]}"
    lines = [*wrapped(head, "", 2, WIDTH), ""]
    lines += _row("why", because(one, units))
    for found in one.found:
        lines += _row("found", _found(found, units))
    for step in one.steps:
        lines += _step(one, step, units)
    if one.lacking is not None:
        lines += _row("looks at", f"`{_each(one.rule, one.lacking)}`: there are none in the plan")
    for why in _reasons(one):
        lines += _row("not judged", why)
    for name, (fact, origin) in one.limits.items():
        lines += _row("limit", f"{name} {shown(fact, units)}: {_by(origin, one, name)}")
    lines += _row("level", _level(one))
    return "".join(f"{clean(line)}\n" for line in lines)


def listing(every: Sequence[Explanation], place: str, label: str, units: str) -> str:
    """Every rule that looked at a block, a line each: those that fire first."""
    fire = sum(one.verdict == "fires" for one in every)
    looked = f"{len(every)} rule{'' if len(every) == 1 else 's'} looked here"
    lines = [f"{place}, {label}: {looked}, {fire or 'none'} fire{'s' if fire == 1 else ''}", ""]
    if not every:
        lines = [f"{place}, {label}: no rule goes through such blocks; their measures may read it all the same"]
        return "".join(f"{clean(line)}\n" for line in lines)
    longest = max((len(one.rule.name) for one in every), default=0)
    for one in sorted(every, key=lambda one: (_ORDER.index(one.verdict), one.rule.name)):
        lines.append(f"  {one.verdict:<10}  {one.rule.name:<{longest}}  {because(one, units)}")
    lines += ["", "`habitatlint rules NAME --at PLAN:LINE` tells all of one of them"]
    return "".join(f"{clean(line)}\n" for line in lines)


def as_json(every: Sequence[Explanation], path: str, line: int, label: str, units: str) -> str:
    rules = [_as_json(one, units) for one in every]
    return json_text({"version": VERSION, "path": path, "line": line, "block": label, "rules": rules})


# -- in words -------------------------------------------------------------------------------------------------


def because(one: Explanation, units: str) -> str:
    """Why a rule did or did not fire, in a sentence."""
    if one.found:
        worst = max(one.found, key=lambda found: (found.finding.level, found.fate == "told"))
        measured, wanted = measured_and_wanted(worst.finding, units)
        figure = f": {measured}, wanted {wanted}" if measured else ""
        return f"{message(worst.finding, units)}{figure}"
    if one.verdict == "not judged":
        return next(iter(_reasons(one)))
    if not one.stands:
        if _is_over_slips(one.rule):
            return _no_such_slip(one)
        return f"{_what_it_looks_at(one.rule)}, and {one.block.label} is none of them"
    if one.lacking is not None:
        return f"the plan has none of the {_plural(one.lacking)} that it looks for"
    step = one.last
    if isinstance(step, Looked):
        return _nothing_looked_at(one, step, units)
    if isinstance(step, Asked):
        if _is_over_slips(one.rule):
            return _no_such_slip(one)
        case = _cases(step.failed[:1], one.rule, units)
        return f"{_none_of(step)} `{_text(one.rule, step.node)}`{f': {case[0]}' if case else ''}"
    if isinstance(step, Compared) and step.cases:
        return _weighed(one, step, step.cases[0], units)
    return "nothing that stands here is left to judge"


def _no_such_slip(one: Explanation) -> str:
    return f"it tells of slips in what is written or drawn, and {one.block.label} has none of the kind"


def _none_of(step: Asked) -> str:
    if step.partners:
        return f"none of the {step.put} that may be paired with it meets"
    return "it does not meet" if step.put == 1 else f"none of {step.put} meets"


def _nothing_looked_at(one: Explanation, step: Looked, units: str) -> str:
    plural = _plural(step.each)
    if step.here and step.unplaced == step.here:
        return "it is placed nowhere, which a finding of its own tells"
    if step.reach is None:
        return f"there are none of `{_each(one.rule, step.each)}` here"
    near = f"; nearest is {_apart(step.nearest[0], units)}" if step.nearest else ""
    return f"none of the {plural} come within {_reach(step.reach, units)}{near}"


def _reach(reach: Fact, units: str) -> str:
    """How far a rule looks, in the plan's unit, as the distances are that it is told with."""
    return shown(reach._replace(unit=""), units)


def _is_over_slips(rule: Rule) -> bool:
    return any(each.plural.value.parts == ("slips",) for each in rule.each)


def _what_it_looks_at(rule: Rule) -> str:
    if not rule.each:
        return "it looks at the plan as a whole, by its head"
    return f"it looks at {' and '.join(dict.fromkeys(_plural(each) for each in rule.each))}"


def _plural(each: Any) -> str:
    return ".".join(each.plural.value.parts)


def _step(one: Explanation, step: Step, units: str) -> list[str]:
    if isinstance(step, Looked):
        return _row("looks at", _looked(one, step, units))
    if isinstance(step, Asked):
        return _row("needs" if step.needs else "where", _asked(one, step, units))
    return _row("reports", _compared(one, step, units))


def _looked(one: Explanation, step: Looked, units: str) -> str:
    what = f"`{_each(one.rule, step.each)}`"
    if step.partners:
        return f"{what}: {step.size} in the plan, none of them here; what they are paired with may be"
    if step.reach is not None:
        apart = "; ".join(_apart(case, units) for case in step.nearest)
        nearest = f"; {'nearest ' if step.bindings > 1 or not step.bindings else ''}{apart}" if apart else ""
        return f"{what}, {_reach(step.reach, units)}: {_pairs(step.bindings)}{nearest}"
    nowhere = f"; {step.unplaced} placed nowhere" if step.unplaced else ""
    if step.each is one.rule.each[0]:
        return f"{what}: {step.here} of {step.size} in the plan stand{'s' if step.here == 1 else ''} here{nowhere}"
    return f"{what}: {_pairs(step.bindings)}{nowhere}"


def _pairs(count: int) -> str:
    return "no pair" if not count else f"{count} pair{'' if count == 1 else 's'}"


def _apart(case: Case, units: str) -> str:
    fact = case.said[0].fact
    assert fact is not None
    return f"{_and(case.things)}, {shown(fact, units)} apart"


def _asked(one: Explanation, step: Asked, units: str) -> str:
    whose = " of those it may be paired with" if step.partners else ""
    said = [
        f"`{_text(one.rule, step.node)}`: {step.passed} of {step.put}{whose} pass{'es' if step.passed == 1 else ''}"
    ]
    failed = step.put - step.passed - step.unknown
    if step.failed:
        rest = failed - len(step.failed)
        said.append(f"not {_list(_cases(step.failed, one.rule, units), rest)}")
    if step.unknown:
        said.append(f"not known of {step.unknown}: {'; '.join(_unsure(step.unsure))}")
    return "; ".join(said)


def _compared(one: Explanation, step: Compared, units: str) -> str:
    when = step.report.when
    assert when is not None
    said = [f"{step.report.level.name} when `{_text(one.rule, when)}`: true of {step.true} of {step.put}"]
    rest = step.put - step.unknown - len(step.cases)
    if step.cases:
        said.append(_list([_weighed(one, step, case, units, thing_first=True) for case in step.cases], rest))
    if step.unknown:
        said.append(f"not known of {step.unknown}: {'; '.join(_unsure(step.unsure))}")
    return "; ".join(said)


def _weighed(one: Explanation, step: Compared, case: Case, units: str, *, thing_first: bool = False) -> str:
    """What was measured of a binding, against what is wanted."""
    measured, wanted = (said.fact for said in case.said)
    assert measured is not None and wanted is not None and step.report.when is not None
    sign = step.report.when.value.sign
    found, limit = figures(_plain(measured), _plain(wanted), sign, units)
    things = _and(case.things)
    nothing = isinstance(measured.value, float) and math.isinf(measured.value)
    if thing_first:
        found = "nothing to measure" if nothing else found
        return f"{things}: {found}" if things else found
    if nothing:
        fault = _FAULTS[sign].format(shown(_plain(wanted), units))
        return f"{_defined(one.rule, case.said[0].part)} finds nothing to measure here; {fault} would be a fault"
    nearest = f", nearest to it for {things}" if things and step.put > 1 else ""
    return f"`{_text(one.rule, case.said[0].part)}` is {found}{nearest}; wanted {limit}"


def _defined(rule: Rule, part: Written) -> str:
    """A part of a comparison, and for a measure of the rule what it is: `faint` (`scent(s, k, far)`)."""
    name = _text(rule, part)
    measure = next((one.value for one in rule.measures if one.name == name), None)
    return f"`{name}` (`{_text(rule, measure)}`)" if measure is not None else f"`{name}`"


def _plain(fact: Fact) -> Fact:
    """A fact of several words as one of text; what a measure gives where there is nothing to measure is none."""
    if isinstance(fact.value, float) and math.isinf(fact.value):
        return Fact("none", "text")
    if isinstance(fact.value, tuple) and fact.kind != "place":
        return Fact(", ".join(map(str, fact.value)) or "none", "text")
    return fact


def _cases(cases: Iterable[Case], rule: Rule, units: str) -> list[str]:
    found = []
    for case in cases:
        parts = (said for said in case.said if not isinstance(said.part.value, Constant))
        values = list(dict.fromkeys(_said(said, rule, units) for said in parts))
        of = _and(case.things)
        found.append(f"{of} ({', '.join(values)})" if values and of else (of or ", ".join(values)))
    return [one for one in found if one]


def _said(said: Said, rule: Rule, units: str) -> str:
    if said.fact is None:
        return said.why or f"`{_text(rule, said.part)}` is not given"
    return f"`{_text(rule, said.part)}` is {shown(_plain(said.fact), units)}"


def _unsure(cases: Iterable[Case]) -> list[str]:
    return [f"{_and(case.things)}, {said.why}" if case.things else said.why for case in cases for said in case.said]


def _reasons(one: Explanation) -> list[str]:
    """What could not be judged, and what is missing."""
    told = [f"{judged.label}: {judged.why}" for judged in one.not_judged]
    if not told:
        told = [
            why for step in one.steps if isinstance(step, Asked | Compared) and step.unknown
            for why in _unsure(step.unsure)
        ]  # fmt: skip
    return list(dict.fromkeys(told))


def _found(found: Found, units: str) -> str:
    finding = found.finding
    measured, wanted = measured_and_wanted(finding, units)
    figure = f"; measured {measured}, wanted {wanted}" if measured else ""
    level = finding.level.name if found.fate != "off" else "switched off"
    said = f"line {finding.span.line}, {level}: {message(finding, units)}{figure}"
    if found.fate == "waived":
        line = f" in line {found.waiver.line}" if found.waiver is not None else ""
        said += f"; waived{line}: {finding.waived}"
    return said


def _by(origin: Origin, one: Explanation, limit: str) -> str:
    if origin.by == "rule":
        own = one.rule.limits[limit]
        return f"the rule's own ({on_whose_word(own.evidence, own.source)})"
    return _whose(origin)


def _whose(origin: Origin) -> str:
    if origin.by == "plan" and origin.span is not None:
        return f"set by the plan, line {origin.span.line}"
    if origin.by == "pack":
        return f"set by the pack {origin.name}"
    if origin.by == "pins":
        return "a note at most, for the rule is new since the pins"
    return "set by the settings" if origin.by == "settings" else "the rule's own"


def _level(one: Explanation) -> str:
    if one.level is None:
        own = " or ".join(dict.fromkeys(report.level.name for report in one.rule.reports))
        return f"{own}: the rule's own"
    return f"{one.level.name}: {_whose(one.level_by)}"


def _text(rule: Rule, part: Written) -> str:
    """A part of a rule as it is written, with the brackets that open in it closed."""
    text = text_of(rule, part)
    ends = text.count("(") - text.count(")")
    return f"{'(' * -ends}{text}{')' * ends}"


def _each(rule: Rule, each: Any) -> str:
    """A variable as the rule binds it: `w in walks within clearance of t.fallen`."""
    bound = f" within {_text(rule, each.bound.distance)} of {_text(rule, each.bound.of)}" if each.bound else ""
    return f"{each.variable} in {_plural(each)}{bound}"


def _and(things: Sequence[str]) -> str:
    return " and ".join(things)


def _list(told: Sequence[str], rest: int) -> str:
    more = f" and {rest} more" if rest > 0 else ""
    return f"{'; '.join(told)}{more}"


def _row(word: str, text: str) -> list[str]:
    return wrapped(text, f"  {word:<{INDENT - 2}}", INDENT, WIDTH)


# -- as JSON --------------------------------------------------------------------------------------------------


def _as_json(one: Explanation, units: str) -> dict[str, Any]:
    return {
        "rule": one.rule.name,
        "verdict": one.verdict,
        "why": clean(because(one, units)),
        "found": [_found_json(found, units) for found in one.found],
        "steps": [_step_json(one, step, units) for step in one.steps],
        "limits": {
            name: {"value": shown(fact, units), **_origin_json(origin)} for name, (fact, origin) in one.limits.items()
        },
        "level": one.level.name if one.level is not None else one.rule.worst.name,
        "level-by": _origin_json(one.level_by),
        "not-judged": [clean(why) for why in _reasons(one)],
    }


def _origin_json(origin: Origin) -> dict[str, Any]:
    line = {"line": origin.span.line} if origin.span is not None else {}
    return {"by": origin.by, **({"pack": origin.name} if origin.by == "pack" else {}), **line}


def _found_json(found: Found, units: str) -> dict[str, Any]:
    finding = found.finding
    measured, wanted = measured_and_wanted(finding, units)
    waiver = found.waiver.line if found.waiver is not None else None
    waived = {"waiver": waiver, "reason": clean(finding.waived)} if found.fate == "waived" else {}
    return {"path": finding.span.source.name, "line": finding.span.line, "level": finding.level.name,
            "message": message(finding, units), "measured": measured or None, "wanted": wanted or None,
            "fate": found.fate, **waived}  # fmt: skip


def _step_json(one: Explanation, step: Step, units: str) -> dict[str, Any]:
    if isinstance(step, Looked):
        reach = {"reach": _reach(step.reach, units)} if step.reach is not None else {}
        return {"kind": "looked", "part": _each(one.rule, step.each), "in-plan": step.size, "here": step.here,
                "unplaced": step.unplaced, "bindings": step.bindings, "partners": step.partners, **reach,
                "cases": _cases_json(one, step.nearest, units)}  # fmt: skip
    if isinstance(step, Asked):
        return {"kind": "asked", "part": _text(one.rule, step.node), "needs": step.needs, "put": step.put,
                "passed": step.passed, "unknown": step.unknown, "partners": step.partners,
                "cases": _cases_json(one, (*step.failed, *step.unsure), units)}  # fmt: skip
    assert step.report.when is not None
    return {"kind": "compared", "part": _text(one.rule, step.report.when), "level": step.report.level.name,
            "put": step.put, "true": step.true, "unknown": step.unknown,
            "cases": _cases_json(one, (*step.cases, *step.unsure), units)}  # fmt: skip


def _cases_json(one: Explanation, cases: Iterable[Case], units: str) -> list[dict[str, Any]]:
    return [
        {
            "things": [clean(thing) for thing in case.things],
            "values": [
                {
                    "part": _text(one.rule, said.part),
                    "value": clean(shown(_plain(said.fact), units)) if said.fact is not None else None,
                    **({"why": said.why} if said.fact is None else {}),
                }
                for said in case.said
            ],
        }
        for case in cases
    ]
