"""The order of work and the cut list as a paper: what a crew takes along on a clipboard, and ticks.

Its sentences are made here of the facts of `work`; what could hurt people stands first, waived or not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.ground.north import North
from habitatlint.language.blocks import Include, Opening, UsePack
from habitatlint.outputs.papers.cut_list import (
    BLANK,
    box_numbers,
    called,
    cut_table,
    joined,
    length,
    numbers,
    plainly,
    step_name,
    table,
    turned,
    volume,
)
from habitatlint.outputs.papers.emergency import emergency_card
from habitatlint.outputs.papers.heading import heading
from habitatlint.outputs.papers.paper import Cautions, Column, Items, Paper, Part, Section, Table, Terms, Words
from habitatlint.outputs.sentences import (
    CAUTION,
    at,
    clean,
    measured_and_wanted,
    message,
    rule_and_evidence,
    shown,
    worded,
)
from habitatlint.reading.grammar import listed
from habitatlint.source import Span
from habitatlint.units import FOOT, show
from habitatlint.work.cutlist import AHEAD, ASIDE, is_patch
from habitatlint.work.order import LENGTHS, Bottle, Concern, Danger, Gap, Hands, Order, StepWork

__all__ = ["paper", "people_first", "sections", "table"]

#: clauses that ask for gear, as OSHA's logging pages and its directive CPL 2-1.22 have them
CLAUSES = {
    "leg-protection": "29 CFR 1910.266(d)(1)(iv)",
    "boots": "29 CFR 1910.266(d)(1)(v)",
    "eye-protection": "29 CFR 1910.266(d)(1)(vii)",
}
EMPLOYERS = "asked of employers, good practice for you"
#: so many things at most are named that a rule could not judge: their boxes are told all
_NAMED = 6


def paper(order: Order, report: Report, today: date) -> Paper:
    """The sheets of work of one plan."""
    title, subtitle, facts = heading(report, today, _subtitle(order))
    boxes = sum(1 + bool(piece.stumps_box) for piece in order.pieces)
    facts = (*facts, ("Sheet", f"{order.mark}, boxes 1 to {boxes}")) if boxes else facts
    return Paper(title, subtitle, facts, (people_first(order, report), *sections(order, report)), CAUTION)


def sections(order: Order, report: Report) -> tuple[Section, ...]:
    """The emergency card, danger trees, the steps in short, and a page for each. What could hurt people, and the
    cautions of the trade, stand before them in the paper that they are put into."""
    found = [emergency_card(order, report)]
    found += _dangers(order, report)
    found.append(_in_short(order, report))
    found += [_step(step, order, report) for step in order.steps]
    found.append(_figures(order, report))
    return tuple(found)


def _subtitle(order: Order) -> str:
    wanted = order.wanted
    parts = ["Order of work and cut list"]
    if wanted.step is not None:
        parts.append(f"step {wanted.step:g}")
    if wanted.crew:
        parts.append(wanted.crew)
    if wanted.left:
        parts.append("what is left to do")
    return ", ".join(parts)


# -- people first ----------------------------------------------------------------------------------------


def people_first(order: Order, report: Report) -> Section:
    parts: list[Part] = []
    if order.concerns or order.gaps:
        parts.append(Words("Told by `check` of this plan, and to be settled before anybody cuts:", "lead"))
        told = (*(_concern(one, report) for one in order.concerns), *(_gap(one, report) for one in order.gaps))
        parts.append(Items(told, numbered=True))
        if order.gaps:
            parts.append(
                Words("What is not read or not judged may hide a wire, a road, people or a bad tree: nobody knows yet.")
            )
    else:
        parts.append(
            Words("`check` finds nothing in this plan that could hurt people. It looks at paper, not at trees.")
        )
    if order.silenced:
        slugs = ", ".join(rule.slug for rule in order.silenced)
        parts.append(Words(f"Switched off or lowered in the plan or its settings: {slugs}.", "lead"))
    return Section("people", "People first", (*parts, *cautions(order, report)))


def cautions(order: Order, report: Report) -> tuple[Part, ...]:
    """The cautions of the trade that the work of a plan asks for, in a frame."""
    return (Cautions("Read aloud before work", tuple(_cautions(order, report.units))),)


def _cautions(order: Order, units: str) -> Iterator[str]:
    """What the trade says before any such work, each with its source."""
    yield (
        "This is paper, and teaches no cutting. A trained feller looks at each tree and decides; what does not look "
        "right is left standing."
    )
    if order.dangers or any(step.saws for step in order.steps):
        yield from _saw_cautions(units)
    if any(near.kind == "wire" for step in order.steps for piece in step.pieces for near in piece.near):
        yield (
            f"Wires: the whole tree and everybody keep {_feet(10, units)} off at least (29 CFR 1910.333(c)(3), seen in "
            "an excerpt only: up to 50 kV, more above); call the line's owner before anything near one is cut."
        )
    if any(step.herbicide for step in order.steps):
        yield (
            "Herbicide: the label is the law, on gear, dose, weather, water and how long people stay out; it is "
            "applied by who is trained or licensed for it, as the state asks."
        )
    yield (
        "Rules of OSHA and of states bind employers; for an owner with a saw they are good practice. Local codes, "
        "licensed foresters and licensed applicators stand above this sheet."
    )


def _saw_cautions(units: str) -> Iterator[str]:
    yield (
        "Nobody comes nearer to felling than two tree lengths before the feller acknowledges it (North Carolina "
        "Department of Labor, Tree Harvesting); who looks on stays off by twice the height of the tree (Michigan "
        "MIOSHA R 408.15336)."
    )
    yield (
        "Between one place of work and the next lie two lengths of the trees that are felled at least, more on slopes "
        "(Washington WAC 296-305-07016; for logging 29 CFR 1910.266(d)(6), its number from memory); nobody is below a "
        "feller on a slope at all (common practice, no source)."
    )
    yield (
        "Danger trees first: what is dead, hung or thrown comes down before other work in the area, or is marked and "
        "kept off (North Carolina Department of Labor, Tree Harvesting), by two of its lengths (29 CFR "
        "1910.266(h)(1)(vi), seen in an excerpt only)."
    )
    yield (
        "Nobody works beneath a hung tree or cuts the tree that holds it; one that must be left is ribboned (Oregon "
        "OAR 437-007-0810)."
    )
    yield (
        "A stem that is cut partly through and stays on its stump can split upward and throw its butt, as a barber "
        "chair does (OSHA, Logging, on barber chairs; that a hinge is its like is common practice, no source). What "
        "leans, is hollow, dead, big, or split is left to a trained feller."
    )
    yield (
        f"Every feller knows the way back before the first cut, {_feet(25, units)} at least; no tree is felled when "
        "wind would take it another way than it is meant to go (Oregon OAR 437-007-0810)."
    )
    can = "19 L (5 gal)" if units == "m" else "5 gal"
    yield (
        f"Fuelling is {_feet(10, units)} from fire and from where the saw is started, the chain brake is on at the "
        f"start, nothing is cut overhead, and a can holds {can} at most (OSHA, Safe Operation of a Chain Saw; 29 CFR "
        "1910.266(e)(2))."
    )
    yield (
        "Gear is looked over before each shift (OSHA, Logging). Each who works there is trained in first aid and CPR, "
        "work stops in strong wind, and all are counted at the end of the shift (North Carolina Department of Labor, "
        "Safety and Health Solutions). All work within sight or hearing of another (common practice, no source)."
    )


def _feet(feet: int, units: str) -> str:
    """A distance that a rule gives in feet; in a metric plan in metres first."""
    return f"{show(feet * FOOT, 'length', 'm')} ({feet} ft)" if units == "m" else f"{feet} ft"


def _concern(concern: Concern, report: Report) -> str:
    """A finding for the crew: how grave, what, on which figure, and what to do."""
    finding, units = concern.finding, report.units
    measured, wanted = measured_and_wanted(finding, units)
    figures = f" (measured {measured}, wanted {wanted})" if measured else ""
    advice = [worded(mend.say, finding, units) for mend in finding.mends if mend.proof != "withheld"]
    todo = f" What to do: {'; '.join(advice)}." if advice else ""
    quiet = f" [{clean(concern.quiet)}]" if concern.quiet else ""
    told = _sentence(message(finding, units) + figures)
    where = _line(finding.span, report)
    return f"{finding.level.name.capitalize()}{quiet}: {told}{todo} ({where}; {rule_and_evidence(finding)})"


def _gap(gap: Gap, report: Report) -> str:
    """What was not read or not judged, on which boxes, and what to do."""
    on = f" [{_box(gap.boxes)}]" if gap.boxes else ""
    if gap.finding is not None:
        finding, units = gap.finding, report.units
        said = message(finding, units)
        of = next((block for block in gap.blocks if not isinstance(block, Include | UsePack)), None)
        told = _sentence(f"{called(of)}: {said}" if of is not None and clean(of.label) not in said else said)
        # what would be written is offered by `check`, where it has been tried
        advice = [worded(mend.say, finding, units) for mend in finding.mends if mend.proof == "advice"]
        todo = f" What to do: {'; '.join(advice)}." if advice else ""
        return f"Not read{on}: {told}{todo} ({_line(finding.span, report)}; {clean(finding.rule)})"
    if gap.unjudged:
        rules = joined(list(dict.fromkeys(clean(one.rule) for one in gap.unjudged)))
        labels = list(dict.fromkeys(clean(one.label) for one in gap.unjudged))
        few = (
            joined(labels) if len(labels) <= _NAMED else f"{', '.join(labels[:_NAMED])} and {len(labels) - _NAMED} more"
        )
        told = _sentence(f"{rules} could not judge {few}: {clean(gap.unjudged[0].why)}")
        return f"Not judged{on}: {told} ({_line(gap.unjudged[0].span, report)})"
    (block,) = gap.blocks  # work without a place
    return f"Not judged{on}: {called(block)} has no place that anybody could judge. ({_line(block.span(), report)})"


def _line(span: Span, report: Report) -> str:
    file = span.source.name
    return f"line {span.line}{f' of {clean(file)}' if file != report.source.name else ''}"


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


# -- danger trees ------------------------------------------------------------------------------------------


def _dangers(order: Order, report: Report) -> Iterator[Section]:
    if order.dangers:
        units = report.units
        rows = tuple(
            (
                called(danger.block), danger.state if danger.trees == 1 else f"{danger.trees}, {danger.state}",
                at(danger.place, units), length(LENGTHS * danger.tall.height, units, 0),
                _hazards_in_reach(danger) + _brought_down(danger),
            )
            for danger in order.dangers
        )  # fmt: skip
        columns = (Column("Tree", share=2), Column("State"), Column("Place"), Column("Keep off by", right=True),
                   Column("Comes down", share=2))  # fmt: skip
        yield Section("danger-trees", "Danger trees, first", (
            Words("They come down when they will. A trained feller or a machine brings them down before other work "
                  "near them, or they are ribboned and everybody keeps off by two of their heights (a tenth added)."),
            Table(columns, rows),
        ))  # fmt: skip


def _hazards_in_reach(danger: Danger) -> str:
    """What is to be done of one that can come down on a wire, a road or a building, before all else."""
    if not danger.reached:
        return ""
    wires = any(one.startswith("wire ") for one in danger.reached)
    owner = "call the line's owner" if wires else "tell the owner"
    return f"within reach of {listed(danger.reached, 'and')}: {owner}; nobody works at it but qualified people; "


def _brought_down(danger: Danger) -> str:
    if not danger.comes_down:
        return "nothing in the plan brings it down: ribbon it, and keep off"
    return f"in step {danger.step:g}" if danger.step is not None else "by the plan, in no step"


# -- the steps in short --------------------------------------------------------------------------------------


def _in_short(order: Order, report: Report) -> Section:
    columns = (Column("Step", share=3), Column("Days", share=2), Column("Who", share=2), Column("Boxes"),
               Column("Two tree lengths", right=True))  # fmt: skip
    rows = tuple(
        (
            step_name(step), _days(step), _who(step), numbers(box_numbers(step)) or "none left",
            length(LENGTHS * step.tall.height, report.units, 0) if step.tall.height else "",
        )
        for step in order.steps
    )  # fmt: skip
    told: list[Part] = []
    if not order.steps:
        told.append(Words("The plan has no work here."))
    else:
        told.append(Table(columns, rows))
        told.append(Words(
            "Steps go by their numbers. Two tree lengths are those of the tallest tree that the step brings down, a "
            "tenth added: who does not fell keeps so far off.", "small",
        ))  # fmt: skip
    return Section("order", "Order of work", tuple(told))


def _days(step: StepWork) -> str:
    if step.first is None or step.last is None:
        return "no dates"
    return step.first.isoformat() if step.first == step.last else f"{step.first} to {step.last}"


def _who(step: StepWork) -> str:
    names = [one.name for one in step.hands] or ([step.crew] if step.crew else [])
    unnamed = any(not piece.crew for piece in step.pieces)
    return joined([*names, "nobody is named for some of it"] if names and unnamed else names) or "nobody is named"


# -- one step --------------------------------------------------------------------------------------------------


def _step(step: StepWork, order: Order, report: Report) -> Section:
    parts: list[Part] = []
    if step.number is None:
        parts.append(Words("This work has no `step`: nobody has said when it is done, or after what.", "lead"))
    elif not step.listed:
        parts.append(Words("The plan's order of work has no such step.", "lead"))
    parts.append(Words(f"{_days(step)}; {_who(step)}.", "lead"))
    before = tuple(_before(step, report))
    left = bool(step.pieces or step.waiting)
    if before and left:
        parts.append(Cautions("Before you start", before))
    if left:
        parts.append(cut_table(step, order.north, report))
    parts += _reasons(step)
    parts += _within_reach(step, report)
    parts += _kept_open(step, report)
    parts += _needs(step, order.north, report)
    if step.done:
        rows = tuple(
            (str(piece.box), called(piece.block), piece.day.isoformat() if piece.day else "no day is given")
            for piece in step.done
        )
        columns = (Column("Box", right=True), Column("What", share=1), Column("Done on"))
        parts.append(Table(columns, rows, "Done already"))
    if not left and not step.done:
        parts.append(Words("Nothing in the plan is in this step."))
    name = "no-step" if step.number is None else f"step-{step.number:g}"
    return Section(name, step_name(step), tuple(parts), apart=left)


def _before(step: StepWork, report: Report) -> Iterator[str]:
    """What of this step can hurt people, and what is to be known first."""
    units = report.units
    if step.concerns:
        yield f"Read again under People first: {numbers(step.concerns)}."
    if unseen := [box for gap in step.gaps for box in gap.boxes]:
        yield f"Not read or not judged whole: {_box(unseen)}. What could hurt people there is to be settled first."
    for danger in step.dangers:
        when = _brought_down(danger)
        yield (
            f"{called(danger.block)} is {danger.state} and stands {length(danger.nearest, units, 0)} from this work: "
            f"keep off by {length(LENGTHS * danger.tall.height, units, 0)} until it is down ({when})."
        )
    if step.tall.height:
        about = " (estimated)" if step.tall.estimated else ""
        yield (
            f"Two tree lengths here: {length(LENGTHS * step.tall.height, units, 0)}{about}. Nobody but the feller is "
            f"nearer to a tree that is being cut ({EMPLOYERS})."
        )
    feller: dict[str, list[int]] = {}
    for piece in step.pieces:
        for reason in piece.feller:
            feller.setdefault(_REASONS[reason], []).append(piece.box)
    for reason, boxes in feller.items():
        yield (
            f"For a trained feller, not for who hinges: {_box(boxes)} ({reason}). The feller decides whether it is cut "
            "at all."
        )
    sprung = [
        piece.box for piece in step.pieces if isinstance(piece.block, Opening) or piece.state in ("down", "blown")
    ]
    if sprung:
        yield (
            f"Stems under load: {_box(sprung)}. They throw saw, butt or root plate at whoever stands there: a trained "
            "feller only."
        )
    if step.herbicide:
        if step.reentry is not None:
            yield (
                f"After herbicide everybody else stays out for {show(step.reentry, 'duration')}, the longest that its "
                "mixes say (40 CFR 170.112, the number before 2017); the label decides."
            )
        else:
            yield f"How long others stay out after the herbicide the plan does not say for every mix; by label: {BLANK}"


_REASONS = {
    "dead": "dead", "hung": "hangs", "blown": "thrown by wind", "leans": "leans", "hollow": "hollow", "split": "split",
    "big": "too big to hinge", "splits": "wood that splits",
}  # fmt: skip


def _reasons(step: StepWork) -> Iterator[Part]:
    """Why, in the plan's own words."""
    for piece in step.pieces:
        why = getattr(piece.block, "why", None)
        if why is not None:
            yield Words(f"{piece.block.label}: {clean(str(why.value))}", "why")


def _within_reach(step: StepWork, report: Report) -> Iterator[Part]:
    rows = tuple(
        (str(piece.box), piece.block.label, near.name, length(near.distance, report.units))
        for piece in step.pieces for near in piece.near
    )  # fmt: skip
    if rows:
        columns = (Column("Box", right=True), Column("Trees of", share=1), Column("can reach", share=1),
                   Column("From the nearest", right=True))  # fmt: skip
        yield Table(columns, rows, "Within reach of what comes down, whichever way it goes")


def _kept_open(step: StepWork, report: Report) -> Iterator[Part]:
    if step.open:
        rows = tuple(
            (one.pocket, str(one.ways), one.off, shown(Fact(one.width, "length", "ft"), report.units))
            for one in step.open
        )
        columns = (Column("In", share=1), Column("Corridors", right=True), Column("off", share=1),
                   Column("Wide", right=True))  # fmt: skip
        yield Table(columns, rows, "Kept open; what comes down across one is sawn through, as stems under load are")


# -- who, and with what ---------------------------------------------------------------------------------------


def _needs(step: StepWork, north: North | None, report: Report) -> Iterator[Part]:
    if not step.pieces and not step.waiting:
        return
    for hands in step.hands:
        if hands.saw or hands.herbicide:
            yield Words(f"{hands.name}: who, and with what", "lead")
            yield Terms(tuple(_crew(hands)))
    for bottle in step.bottles:
        yield from _bottle(bottle, report)
    if brought := tuple(_bring(step, north, report.units)):
        yield Words("To bring (boxes without a number are for packing)", "lead")
        yield Items((*brought, "this sheet, a pencil, and a telephone that works there"), ticks=True)


def _crew(hands: Hands) -> Iterator[tuple[str, str]]:
    people = "not given" if hands.people is None else str(hands.people)
    yield "People", f"{people}{'; one works alone' if hands.alone == 'yes' else ''}"
    needs = [*(["felling"] if hands.saw else []), *(["herbicide"] if hands.herbicide else [])]
    if hands.block is None:
        asks = f"the work needs {joined(needs)}, and of each first aid and CPR"
        yield "Training", f"the plan says nothing of this crew; {asks}: {BLANK}"
    else:
        has = joined([plainly(one) for one in hands.training]) or "none is given"
        yield "Training", f"the work needs {joined(needs)}, and of each first aid and CPR; the plan gives: {has}"
    for word, wanted, said in (
        ("Gear by clause", hands.by_clause, EMPLOYERS),
        ("Usual gear", hands.usual, "common practice"),
        ("Gear by label", hands.by_label, "as the plan gives the label of the mix"),
    ):
        if wanted:
            clauses = CLAUSES if wanted is hands.by_clause else {}
            each = [f"{plainly(one)}{f' ({clauses[one]})' if one in clauses else ''}" for one in wanted]
            yield word, f"{', '.join(each)}; {said}"
    if hands.lacking:
        missing = joined([plainly(one) for one in hands.lacking])
        yield "Not in the plan", f"{missing}: nobody works without"


def _bottle(bottle: Bottle, report: Report) -> Iterator[Part]:
    units, mix = report.units, bottle.block
    if not bottle.name:
        yield Words(f"Herbicide without a mix in the plan: {_box(bottle.unreckoned)}. No label, no work.", "lead")
        return
    pairs = []
    if mix is not None and mix.label_ is not None:
        pairs.append(("Label", clean(str(mix.label_.value))))
    if bottle.volume is not None:
        pairs.append((
            "Amount",
            f"{volume(bottle.volume, units)} for {bottle.hacks:.0f} cuts: one an inch of diameter, two at least (Penn "
            "State Extension), each with what the label says, as the plan gives it",
        ))  # fmt: skip
    if bottle.unreckoned:
        pairs.append((
            "Not reckoned",
            f"{_box(bottle.unreckoned)}: no figure of the label in the plan tells how much; by label: {BLANK}",
        ))  # fmt: skip
    for share in bottle.parts:
        much = f", {volume(share.volume, units)}" if share.volume is not None else ""
        pairs.append((plainly(share.name), f"{show(share.share, 'share', units)}{much}"))
    if mix is not None and mix.most is not None:
        pairs.append(("Most in a year", f"{mix.most.value}, as the plan gives the label"))
    known = bottle.reentry is not None
    stay = show(bottle.reentry or 0.0, "duration") if known else f"the plan does not say; by label: {BLANK}"
    pairs.append(("Others stay out", stay))
    yield Words(f"mix {bottle.name}", "lead")
    yield Terms(tuple(pairs))


def _box(boxes: Sequence[int]) -> str:
    return f"box{'es' if len(set(boxes)) > 1 else ''} {numbers(boxes)}"


def _bring(step: StepWork, north: North | None, units: str) -> Iterator[str]:
    """What goes on the truck. What nobody has published a figure for is left to be written in."""
    kinds = {piece.block.noun for piece in step.pieces}
    methods = {piece.method for piece in step.pieces}
    if step.saws:
        people = [one.people for one in step.hands if one.saw and one.people]
        saws = f"{sum(people) + 1} at most" if people else BLANK
        yield f"saws: {saws} (one for each who saws, and a spare; common practice, no source); who saws: {BLANK}"
        yield f"fuel and bar oil: {BLANK} (no figure is published for such work)"
        yield "wedges, a felling lever, an axe, files, spare chains (common practice, no source)"
        yield "first-aid kit, and ribbon for trees to be kept off"
    if any(piece.fall is not None for piece in step.pieces):
        how = "the plan gives no declination: bearings here are from true north"
        if north is not None:
            how = f"set to {turned(north)} it reads the true bearings, unset the magnetic ones"
        yield f"compass ({how})"
    if "hack-and-squirt" in methods:
        yield "hatchet and squirt bottle, as the label says"
    for bottle in step.bottles:
        much = volume(bottle.volume, units) if bottle.volume is not None and not bottle.unreckoned else BLANK
        yield f"mix {bottle.name or 'of which the plan says nothing'}: {much}; its label, water and soap"
    if "planting" in kinds:
        yield f"plants: {BLANK} (the plan gives lines and areas, no number), spades, stakes"


# -- how the figures were had ---------------------------------------------------------------------------------


def _figures(order: Order, report: Report) -> Section:
    told = [
        "Boxes are numbered in the order of work over the whole plan, whatever of it is printed. Ticks are put into a "
        f"copy of the plan by `habitatlint work PLAN --ticked 3,7-9 --on DATE --sheet {order.mark} -o NEW.habitat`. "
        "Tick only what is done whole.",
        "Sizes are as the plan gives them. Where it gives none: 8 in thick (common practice, no source), and as tall "
        "as the curves of the USDA Forest Service's FVS, Central States, have it: the mean of many trees, not the tree "
        "at hand. Usual cut heights are common practice, no source.",
        "Distances for people's sake take the largest tree and a tenth more. Within reach: a wire within a height and "
        f"{_feet(10, report.units)}, roads, buildings and places of people within one and a half heights, all else "
        "within one; common practice, no source, but for the ten feet.",
        f"What a fall is toward is the nearest thing of the plan that lies within {ASIDE:g}° of it, up to "
        f"{length(AHEAD, report.units, 0)} off.",
    ]
    north = order.north
    if north is None:
        told.append(
            "No magnetic bearings: the plan gives no declination (`declination 2.5W`, or `computed` with anchor and "
            "date)."
        )
    else:
        by = "as the plan states" if north.stated else "by the World Magnetic Model for the plan's date"
        told.append(f"Magnetic north is {turned(north)} of true north, {by}; iron and saws turn a compass.")
    if any(is_patch(piece) for piece in order.pieces):
        told.append("Trees of a patch are reckoned from its density and its area.")
    return Section("figures", "How the figures were had", (Items(tuple(told)),))
