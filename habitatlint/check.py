"""The pipeline: a plan's text in, a report out. Reads no disk, no clock, no environment."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, NamedTuple

from habitatlint.findings import FIRM, Fact, Finding, Level, Policy, Related, Slip
from habitatlint.ground.record import record
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import slips_table
from habitatlint.language.blocks import (
    BLOCKS,
    PLURALS,
    Block,
    Path,
    Plan,
    Pocket,
    Row,
    SetLevel,
    SetLimit,
    UsePack,
    Waive,
)
from habitatlint.language.plan import Find, IncludeTrouble, PlanText, find_nothing, read_plan
from habitatlint.measures.vocabulary import Vocabulary
from habitatlint.reading.blocks import Memory
from habitatlint.reading.grammar import Grammar, Guesses, did_you_mean, near
from habitatlint.reading.values import Written
from habitatlint.rulebook.book import Rulebook, limit_fact, misfit, within
from habitatlint.rulebook.evaluation import Context
from habitatlint.rulebook.judging import NOBODY, NotJudged, judge
from habitatlint.rulebook.pinning import Since
from habitatlint.rulebook.rules import Limit, Pack, Rule
from habitatlint.source import Source, Span
from habitatlint.units import COMPACT, show
from habitatlint.verdict import Extent, Verdict

if TYPE_CHECKING:  # few ask why
    from habitatlint.rulebook.explaining import Inquiry

#: the pack that a `use pack` names, seen from the plan; raises IncludeTrouble
FindPack = Callable[[str, Source], Pack]


def find_no_pack(path: str, source: Source) -> Pack:
    raise IncludeTrouble("no pack can be read here")


class Library(NamedTuple):
    """What a plan may ask for by name: the language's grammar, measures, other files, packs."""

    plan_grammar: Grammar
    vocabulary: Vocabulary
    find: Find = find_nothing
    find_pack: FindPack = find_no_pack


class Report(NamedTuple):
    """What was found in one plan; findings and waived ones in the order of their places."""

    source: Source
    plan: PlanText
    scene: Scene
    findings: tuple[Finding, ...]
    waived: tuple[Finding, ...]
    #: the rules that were judged
    rules: tuple[Rule, ...]
    #: what those rules could name
    vocabulary: Vocabulary
    #: rules about people's safety that a level switches off or lowers
    silenced: tuple[Rule, ...] = ()
    #: the limits in force, of every rule, by `pack/rule.limit`
    limits: Mapping[str, Fact] = {}
    #: what differs from the pins that the rules are held to
    since: Since = Since()
    #: findings about people's safety of rules that are switched off: not among `findings`; the sheet of work tells them
    silenced_findings: tuple[Finding, ...] = ()
    #: what no rule about people's safety could judge, switched off or not
    unjudged_safety: tuple[NotJudged, ...] = ()

    @property
    def units(self) -> str:
        return self.plan.units

    @property
    def included(self) -> set[str]:
        """The names of the files that the plan includes."""
        return {block.placed.source.name for block in self.plan.blocks} - {self.source.name}

    @property
    def unjudged(self) -> list[str]:
        """Nouns that the plan has, and that neither a rule in force names nor a measure's file."""
        named = {plural for rule in self.rules for plural in rule.plurals}
        present = {block.noun for block in self.plan.blocks if not block.broken} - {Plan.noun}
        read = _nouns_read(self.vocabulary)
        return sorted(noun for noun in present - read if noun in PLURALS and PLURALS[noun] not in named)

    @property
    def verdict(self) -> Verdict:
        """What is told of it."""
        packs = dict.fromkeys((str(use.head[1].value), use.placed.source.name) for use in self.plan.of(UsePack))
        return Verdict(
            self.source, self.units, self.findings, self.waived, (), tuple(rule.name for rule in self.rules),
            tuple(rule.slug for rule in self.silenced), self.since or None, self.plan.head is not None,
            tuple(sorted(self.included)), tuple(packs), _extent(self.scene), tuple(self.unjudged),
        )  # fmt: skip


def _extent(scene: Scene) -> Extent:
    counts: list[tuple[str, int, float | None]] = []
    for kind in (Pocket, Path, Row):
        if blocks := scene.plan.of(kind):
            lengths = [shape.length for one in blocks if (shape := scene.shape_of(one)) is not None]
            counts.append((kind.noun, len(blocks), sum(lengths) if kind is Path else None))
    if len(scene.trees):
        counts.append(("tree", len(scene.trees), None))
    return Extent(Fact(scene.property_.area, "area") if scene.property_ is not None else None, tuple(counts))


class Asked:
    """Limits and levels that `set` and `level` lines ask, and slips in them."""

    def __init__(self) -> None:
        self.limits: dict[str, Fact] = {}
        self.levels: dict[str, Level] = {}
        self.slips: list[Slip] = []
        self.guesses = Guesses()
        #: the line that sets each limit, by `pack/rule.limit`, and each level, by `pack/rule`
        self.lines: dict[str, Span] = {}


def asked(source: Source, grammar: Grammar, rulebook: Rulebook) -> Asked:
    """What a text of nothing but `set` and `level` lines asks of the rules of a rulebook."""
    plan = read_plan(source, grammar, fragment=True)
    found = _said(plan, rulebook)
    found.slips = sorted([*plan.slips, *found.slips], key=lambda slip: slip.span.start)
    return found


class Standing(NamedTuple):
    """What a plan stands under by its own words: the plan as read, the rules with those of the packs that it takes in,
    and what its `set` and `level` lines ask of them; among the slips are those in its `use pack` lines."""

    plan: PlanText
    rulebook: Rulebook
    asked: Asked


def standing(source: Source, library: Library, rulebook: Rulebook) -> Standing:
    """What a plan itself says of the rules that it is judged by; nothing is judged."""
    plan, slips = read_plan(source, library.plan_grammar, library.find), list[Slip]()
    whole = _with_used_packs(plan, library, rulebook, slips)
    found = _said(plan, whole)
    found.slips = [*slips, *found.slips]
    return Standing(plan, whole, found)


def check(
    source: Source, library: Library, rulebook: Rulebook, policy: Policy, memory: Memory | None = None,
    inquiry: Inquiry | None = None,
) -> Report:  # fmt: skip
    """Reads a plan, puts it on the ground and judges it by every rule in force.

    Never raises for what the text says: whatever is wrong in it is a finding. An inquiry hears what judging does, and
    may narrow what is judged to the rule that it asks about; it raises Unanswerable for a place or rule there is not.
    """
    plan = read_plan(source, library.plan_grammar, library.find, memory, fragment=policy.fragment)
    scene = Scene(plan)
    library.vocabulary.attach(scene)
    slips = [*plan.slips, *scene.slips, *record(scene)]
    rulebook = _with_used_packs(plan, library, rulebook, slips)
    said = _said(plan, rulebook)
    slips += said.slips
    levels = {**rulebook.changed_levels, **policy.levels, **said.levels}
    limits = {**rulebook.changed_limits, **policy.limits, **said.limits}
    rules = [rule for rule in rulebook.rules if levels.get(rule.name) is not Level.off or _is_record(rule)]
    if inquiry is not None:
        rules = inquiry.begin(plan, rulebook, rules)

    def judged(
        over: Iterable[Rule], seen: list[Slip], at: Mapping[str, Level] = levels
    ) -> tuple[list[Finding], list[NotJudged]]:
        found: list[Finding] = []
        unjudged: list[NotJudged] = []
        table = slips_table(scene, seen)
        for rule in over:
            context = Context(
                scene, library.vocabulary, _limits(rule, limits),
                {name: words.words for name, words in rule.lists.items()}, policy.today.toordinal(), {"slips": table},
            )  # fmt: skip
            judgement = judge(rule, context, inquiry.of(rule) if inquiry is not None else NOBODY)
            found += [_graded(finding, rule, at) for finding in judgement.findings]
            unjudged += judgement.not_judged
        return [finding for finding in found if finding.level is not Level.off], unjudged

    findings, unjudged = judged(rules, slips)
    # what could hurt people is judged though it is switched off: the sheet of work tells it
    off = [one for one in rulebook.rules if one.safety and levels.get(one.name) is Level.off and inquiry is None]
    quiet, unjudged_off = judged(off, slips, {}) if off else ([], [])
    about_people = {rule.name for rule in rulebook.rules if rule.safety}
    unseen = tuple(one for one in (*unjudged, *unjudged_off) if one.rule in about_people)
    findings, waived, waiver_slips = _waive(plan, rulebook, findings, policy)
    last = [*waiver_slips, *_not_judged(one for one in unjudged if not _is_of_broken_line(scene, one))]
    if last:
        findings += judged([rule for rule in rules if _is_record(rule)], last)[0]
    ordered = sorted(_once(findings), key=lambda finding: finding.order)
    waived.sort(key=lambda finding: finding.order)
    if inquiry is not None:
        judged(inquiry.besides(rules), slips)
        inquiry.end(policy, levels, said.lines, ordered, waived)
    silenced = tuple(rule for rule in rulebook.rules if rule.safety and _is_lowered(rule, levels))
    in_force = {f"{rule.name}.{name}": fact for rule in rulebook.rules for name, fact in _limits(rule, limits).items()}
    return Report(source, plan, scene, tuple(ordered), tuple(waived), tuple(rules), library.vocabulary, silenced,
                  limits=in_force, since=rulebook.since_pins, unjudged_safety=unseen,
                  silenced_findings=tuple(sorted(_once(quiet), key=lambda finding: finding.order)))  # fmt: skip


def _is_lowered(rule: Rule, levels: Mapping[str, Level]) -> bool:
    level = levels.get(rule.name)
    return level is not None and level < max(report.level for report in rule.reports)


def _nouns_read(vocabulary: Vocabulary) -> set[str]:
    """Nouns of the blocks that measures, worked-out fields and plurals read: those whose class the
    file of one of them names, so that a new measure is counted by itself."""
    measures = (signature.function for signature in vocabulary.measures.values())
    functions = [*measures, *vocabulary.makers.values(), *vocabulary.tables.values()]
    files = {function.__module__: function.__globals__ for function in functions if hasattr(function, "__globals__")}
    return {
        thing.noun
        for names in files.values()
        for thing in names.values()
        if isinstance(thing, type) and issubclass(thing, Block) and thing in BLOCKS
    }


def _is_record(rule: Rule) -> bool:
    """A rule over slips; of reading and naming they are told whatever the levels say."""
    return any(each.plural.value.parts == ("slips",) for each in rule.each)


def _limits(rule: Rule, changed: Mapping[str, Fact]) -> dict[str, Fact]:
    return {name: changed.get(f"{rule.name}.{name}", limit_fact(limit)) for name, limit in rule.limits.items()}


def _graded(finding: Finding, rule: Rule, levels: Mapping[str, Level]) -> Finding:
    """A finding at the level that plan, project and packs set: it caps a rule of several levels."""
    level = levels.get(rule.name)
    if level is None or finding.firm:
        return finding
    several = len({report.level for report in rule.reports}) > 1
    return finding._replace(level=min(level, finding.level) if several else level)


def _once(findings: list[Finding]) -> list[Finding]:
    """Findings without those that say the same of the same place twice."""
    seen: set[tuple[object, ...]] = set()
    kept = []
    for finding in findings:
        facts = tuple(sorted((name, str(fact.value)) for name, fact in finding.facts.items()))
        key = (*finding.order, facts, finding.names, finding.place)
        if key not in seen:
            seen.add(key)
            kept.append(finding)
    return kept


#: most packs that a plan uses: each is looked for on disk
MOST_PACKS = 100


def _with_used_packs(plan: PlanText, library: Library, rulebook: Rulebook, slips: list[Slip]) -> Rulebook:
    packs: list[Pack] = []
    uses = plan.of(UsePack)
    if len(uses) > MOST_PACKS:
        first = uses[MOST_PACKS]
        why = f"a plan uses {MOST_PACKS} packs at most, and {len(uses) - MOST_PACKS:,} from here on are not read"
        slips.append(Slip("pack-trouble", first.span(), thing=f"pack {first.head[1].value}", why=why,
                          expected="use fewer packs, or build one pack on the others"))  # fmt: skip
    for use in uses[:MOST_PACKS]:
        _, value, *version = use.head  # `pack`, its path or name, and perhaps `version` and which
        thing = f"pack {value.value}"
        try:
            pack = library.find_pack(str(value.value), use.placed.source)
        except IncludeTrouble as error:
            remedy = "write the folder's path as seen from the plan, with forward slashes"
            slips.append(Slip("pack-trouble", use.span(value), thing=thing, why=str(error), expected=remedy))
            continue
        if version and (why := misfit(str(version[-1].value), pack)):
            other = f'ask for the one that is there, `version "{pack.version}"`, or t' if pack.version else "t"
            slips.append(Slip("pack-trouble", use.span(version[-1]), thing=thing, why=why,
                              expected=f"{other}ake in the pack of the version that is asked for"))  # fmt: skip
        elif why := rulebook.with_packs(packs).in_the_way(pack):
            slips.append(Slip("pack-trouble", use.span(value), thing=thing, why=why,
                              expected="take in one of the two, or give this one another name"))  # fmt: skip
        else:
            packs.append(pack)
    whole = rulebook.with_packs(packs)
    for pack in packs:
        slips += [of_a_pack(slip) for slip in (*pack.slips, *whole.faults(pack))]
    return whole


def of_a_pack(slip: Slip) -> Slip:
    """A slip in a rule file: told as the pack's, for what is said of plans does not fit it."""
    found = f", not `{slip.found}`" if slip.found else ""
    why = f"expected {slip.expected}{found}" if slip.expected else (slip.why or f"`{slip.found}` is not known here")
    if slip.kind == "missing-property":
        why = f"it needs {slip.expected}"
    hint = slip.hint if slip.hint.startswith("; did") else ""
    return slip._replace(kind="pack-trouble", why=why, hint=hint, expected="mend this line of the rule file")


def _said(plan: PlanText, rulebook: Rulebook) -> Asked:
    """What `set` and `level` lines ask, and what is wrong with them."""
    said = Asked()
    for block in plan.of(SetLimit):
        _set_limit(block, rulebook, said)
    for line in plan.of(SetLevel):
        name, level = line.head[0], line.head[1]
        rule = rulebook.find(str(name.value))
        if rule is None:
            said.slips.append(_no_rule(line, name, rulebook, "level", said.guesses))
        elif _is_firm(rule):
            why = f"the level of `{rule.slug}` cannot be changed: it tells of slips of writing and naming"
            said.slips.append(Slip("bad-value", line.span(name), thing="level", found=rule.slug, why=why))
        else:
            said.levels[rule.name] = Level[str(level.value)]
            said.lines[rule.name] = line.span()
    return said


def _is_firm(rule: Rule) -> bool:
    """Whether all it tells is slips of reading and naming."""
    return _is_record(rule) and rule.slug in FIRM


def _no_rule(
    block: SetLevel | SetLimit | Waive, name: Written, rulebook: Rulebook, thing: str, guesses: Guesses
) -> Slip:
    text = str(name.value)
    slug = text.partition(".")[0] if thing == "set" else text
    hint = did_you_mean(rulebook.like(slug) if guesses.another() else "")
    absent = "" if hint else ", and no pack in force has that one: take in its pack by `use pack`"
    return Slip("unknown-name", block.span(name), thing=thing, found=slug, expected="the name of a rule",
                why=f"`{thing}` takes the name of a rule{absent}", hint=hint)  # fmt: skip


def _set_limit(block: SetLimit, rulebook: Rulebook, said: Asked) -> None:
    name, value = block.head[0], block.head[1]
    slug, _, limit_name = str(name.value).rpartition(".")
    rule = rulebook.find(slug)
    if rule is None:
        said.slips.append(_no_rule(block, name, rulebook, "set", said.guesses))
        return
    limit = rule.limits.get(limit_name)
    if limit is None:
        known = ", ".join(f"`{one}`" for one in rule.limits)
        likely = near(limit_name, rule.limits)
        hint = did_you_mean(likely)
        why = f"the limits of {rule.slug} are {known}" if known else f"{rule.slug} has no limits"
        if likely:
            why = f"{rule.slug} has no such limit"
        said.slips.append(Slip("unknown-name", block.span(name), thing=f"rule {rule.slug}", found=limit_name, why=why,
                               hint=hint, expected=f"a limit of {rule.slug}"))  # fmt: skip
        return
    fact = _as_fact(value)
    if within(limit, fact):
        said.limits[f"{rule.name}.{limit_name}"] = fact
        said.lines[f"{rule.name}.{limit_name}"] = block.span()
        return
    expected = _range(limit.least, limit.largest, limit.kind, limit.unit)
    why = "of another kind than the limit" if fact.kind != limit.kind else "beyond its permitted range"
    if fact.kind == "number" and limit.unit:
        written = f"{value.value}{limit.unit if limit.unit in COMPACT or limit.unit == '%' else f' {limit.unit}'}"
        expected, why = f"a unit too, such as `{written}` ({expected})", "without its unit"
    said.slips.append(
        Slip("limit-out-of-range", block.span(value), thing=f"{rule.slug}.{limit_name}", found=str(value.value),
             why=why, expected=expected,
             hint=did_you_mean(_nearest(limit, fact)))
    )  # fmt: skip


def _nearest(limit: Limit, fact: Fact) -> str:
    """The end of a limit's range that a value beyond it is nearest to, as a plan writes it; "" for one of another
    kind, or where the limit has no range."""
    size, least, largest = fact.value, limit.least, limit.largest
    if fact.kind != limit.kind or least is None or largest is None or not isinstance(size, int | float):
        return ""
    shown = show(max(least, min(largest, size)), limit.kind, unit=limit.unit)
    return shown if limit.kind == "duration" else shown.replace(" ", "")


def _range(least: float | None, largest: float | None, kind: str, unit: str) -> str:
    if least is None or largest is None:
        return f"a {kind}"
    of = unit if kind == "length" else ""
    return f"{show(least, kind, unit=of)} to {show(largest, kind, unit=of)}"


def _as_fact(value: Written) -> Fact:
    written, kind = value.value, value.kind
    if hasattr(written, "unit"):
        return Fact(written.size, written.kind, written.unit)
    if kind in ("bearing", "wind"):
        return Fact(written.degrees, "angle", "deg")
    if kind == "date":
        return Fact(written.toordinal(), "date")
    return Fact(written, "window" if kind == "day" else kind)


def _waive(
    plan: PlanText, rulebook: Rulebook, findings: list[Finding], policy: Policy
) -> tuple[list[Finding], list[Finding], list[Slip]]:
    """Findings that no waiver accepts, those that one does, and what is wrong with the waivers."""
    slips: list[Slip] = []
    waived: list[Finding] = []
    guesses = Guesses()
    on_it = _by_name(findings)
    taken: set[int] = set()
    for waiver in plan.of(Waive):
        values = waiver.head
        names = [value for value in values if value.kind == "name"]
        rule_name, on = names[0], [str(value.value) for value in names[1:]]
        until = next(value for value in values if value.kind == "date")
        because = next(str(value.value) for value in values if value.kind == "text")
        rule = rulebook.find(str(rule_name.value))
        if rule is None:
            slips.append(_no_rule(waiver, rule_name, rulebook, "waive", guesses))
            continue
        unknown = [
            value for value in names[1:] if str(value.value) not in plan.names and str(value.value) not in plan.ghosts
        ]
        for value in unknown:
            likely = near(str(value.value), plan.names) if guesses.another() else ""
            hint = did_you_mean(likely)
            slips.append(Slip("unknown-name", waiver.span(value), thing="waive", found=str(value.value),
                              why="`on` takes the name of a thing in the plan", hint=hint))  # fmt: skip
        if unknown:
            continue
        if until.value < policy.today:
            slips.append(Slip("waiver-stale", waiver.span(until), thing=rule.slug, found=str(until.value), why=because))
            continue
        # those on a thing are on each: the fewest are looked through, and those that a waiver takes are not again
        keys = [(rule.name, name) for name in on or [""]]
        key = min(keys, key=lambda one: len(on_it.get(one, ())))
        near_by = [finding for finding in on_it.get(key, ()) if id(finding) not in taken]
        matched = [finding for finding in near_by if _is_on(finding, on)]
        on_it[key] = [finding for finding in near_by if not _is_on(finding, on)]
        if not matched and not plan.ghosts.intersection(on):
            where = f" on {' and '.join(on)}" if on else " on the plan as a whole"
            hint = "; slips of writing and naming cannot be waived" if _is_firm(rule) else ""
            slips.append(Slip("waiver-idle", waiver.span(), thing=rule.slug, found=where, why=because, hint=hint))
        waived += [finding._replace(waived=because) for finding in matched]
        taken |= {id(finding) for finding in matched}
    return [finding for finding in findings if id(finding) not in taken], waived, slips


def _by_name(findings: list[Finding]) -> dict[tuple[str, str], list[Finding]]:
    """Findings that may be waived, by their rule and each name that they are on, "" for those on none."""
    found: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        for name in () if finding.firm else finding.names or ("",):
            found.setdefault((finding.rule, name), []).append(finding)
    return found


def _is_on(finding: Finding, names: list[str]) -> bool:
    """Without names, only findings on the plan as a whole."""
    return set(names) <= finding.names if names else not finding.names


def _is_of_broken_line(scene: Scene, one: NotJudged) -> bool:
    """Whether what is missing, or the place of the thing itself, is written there on a line that
    cannot be: a slip has told that line."""
    block = scene.plan.names.get(one.name)
    owners = [*([block] if block else []), *scene.plan.shared]
    if any(f"`{word}`" in one.why for owner in owners for word in owner.parsed.broken):
        return True
    drawn = block is not None and any(block.has(word) for word in ("outline", "line", "stumps", "at"))
    return block is not None and drawn and scene.shape_of(block) is None


def _not_judged(unjudged: Iterable[NotJudged]) -> list[Slip]:
    """One slip for each rule, or for rules that miss the same, with all the things they are on."""
    by_reason: dict[tuple[str, str], list[NotJudged]] = {}
    for one in unjudged:
        by_reason.setdefault((one.rule, one.why), []).append(one)
    groups: dict[tuple[str, tuple[tuple[str, int], ...]], list[tuple[str, list[NotJudged]]]] = {}
    for (rule, why), ones in by_reason.items():
        key = (why, tuple(sorted((one.span.source.name, one.span.start) for one in ones)))
        groups.setdefault(key, []).append((rule, ones))
    slips = []
    for (why, _), entries in sorted(groups.items(), key=lambda group: group[0]):
        rules = sorted(rule for rule, _ in entries)
        ones = sorted(entries[0][1], key=lambda one: one.span.order)
        labels = list(dict.fromkeys(one.label for one in ones))
        related = tuple(Related(one.span, one.label) for one in ones[1:])
        named = _few(rules, MOST_RULES)
        slips.append(Slip("not-judged", ones[0].span, thing=_few(labels), found=named, why=why, related=related,
                          name=ones[0].name))  # fmt: skip
    return slips


#: so many rules that miss the same are named in one note
MOST_RULES = 8


def _few(names: list[str], most: int = 4) -> str:
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
