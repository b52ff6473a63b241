"""What work takes and gives, in words: wood, herbicide, hours and money."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from habitatlint.findings import Fact
from habitatlint.measures.volume import LOG_RULES, SHAPES, SOLID, Spread
from habitatlint.outputs.papers.cut_list import plainly, volume
from habitatlint.outputs.papers.paper import Column, Part, Section, Table, Terms, Words
from habitatlint.outputs.papers.tally_words import (
    WOOD_FOR,
    Quantities,
    about,
    few,
    how_of,
    least_to_most,
    reasons,
    two_figures,
    untold,
)
from habitatlint.outputs.sentences import clean, shown
from habitatlint.units import FOOT
from habitatlint.work.pricing import Charge, Choice, Priced
from habitatlint.work.tally import Tally
from habitatlint.work.yields import MixUse, Wood, Worked


class Yields(Quantities):
    """The sections of wood, herbicide, hours and money."""

    # -- wood ------------------------------------------------------------------------------------

    def wood(self, tally: Tally) -> Section:
        rule = LOG_RULES[tally.log_rule][0]
        counted = [one for one in tally.wood if one.logs is not None]
        parts: list[Part] = []
        if counted:
            rows = tuple(self._wood(one) for one in counted)
            columns = (Column("Release", share=2), Column("Wood is for", share=2), Column("Log trees", right=True),
                       Column("Board feet", right=True), Column("All stacked", right=True),
                       Column("Too small for logs", right=True), Column("Can it be sold", share=3))  # fmt: skip
            parts.append(Table(columns, rows, f"As saw logs ({rule} rule) and as firewood: estimates, never a price"))
        for one in counted:
            if one.uncounted > 0.005:
                part = shown(Fact(one.uncounted, "share"), self.units, 0)
                told = f"{part} of the basal area is of no known size and is in none of these figures"
                parts.append(Words(f"Of what {one.piece.block.label} takes, {told}."))
        parts += reasons(
            [(one.piece.block.label, "its trees are not counted") for one in tally.wood if one.logs is None],
            "No wood is reckoned for",
        )
        given = "as the plan names it" if tally.log_rule_given else "for the plan names no `log-rule`"
        solid = " to ".join(f"{one / FOOT**3:.0f}" for one in SOLID)
        parts.append(Words(
            f"Log rule: {rule}, {given}. Saw logs are of 16 ft, from half of a tree's height, down to 8 in at the "
            "small end, form class 78 (from memory). A cord is 128 cu ft ranked and well stowed (NIST Handbook "
            f"130, 2.4.1) and holds {solid} cu ft of solid wood (pages that name no source); a stem holds "
            f"{SHAPES.least:.2f} to {SHAPES.most:.2f} of its basal area times its height (common practice, no "
            "source). Limbs are not counted. Ask a forester before anything is sold or spoilt for sale.", "small",
        ))  # fmt: skip
        return Section("tally-wood", "Wood", tuple(parts))

    def _wood(self, one: Wood) -> tuple[str, ...]:
        assert one.logs is not None and one.cords is not None and one.rest is not None
        wood = WOOD_FOR.get(one.wood, "not said")
        markets = "; ".join(f"{name}: {said or 'not said'}" for name, said in one.markets)
        return (
            one.piece.block.label + (", done" if one.done else ""), wood, about(one.log_trees),
            about(two_figures(one.logs)), self.cords(one.cords),
            self.cords(one.rest) if one.rest.most > 0.05 else "none", markets,
        )  # fmt: skip

    # -- herbicide -------------------------------------------------------------------------------

    def herbicide(self, tally: Tally) -> Section:
        parts: list[Part] = []
        for mix in tally.mixes:
            parts += self._mix(mix)
        parts.append(Words(
            "The label is the law. Cuts are one an inch of middle diameter, two at least (Penn State Extension, "
            "read in a mirror), and what goes into one is the label's figure as the plan gives it; without one "
            "there is no quantity. The most an acre is held to all of the mix; where a label means the product "
            "alone, less of it counts.", "small",
        ))  # fmt: skip
        return Section("tally-herbicide", "Herbicide", tuple(parts))

    def _mix(self, mix: MixUse) -> Iterator[Part]:
        year = f", {mix.year}" if mix.year is not None else ", in no dated step"
        yield Words(f"{mix.name or 'No mix is named'}{year}{', done' if mix.done else ''}", "lead")
        pairs = []
        if mix.volume is not None:
            pairs.append(("Mix", f"{volume(mix.volume, self.units)} for {mix.hacks:.0f} cuts"))
            pairs += [
                (plainly(name), f"{volume(part, self.units)} ({shown(Fact(share, 'share'), self.units)})")
                for name, share, part in mix.parts
                if part is not None
            ]
        if mix.volume is not None and mix.most is not None and mix.ground is not None:
            most = self.dose(mix.most)
            pairs.append(
                ("Most by label", f"{most} a year; so much mix is for {self.area(mix.ground)} of ground or more")
            )
            for dose in mix.doses:
                rate = dose.volume / dose.area
                over = f"more than the label allows, by {rate / mix.most:.1f} times" if rate > mix.most * 1.0001 else (
                    f"{shown(Fact(rate / mix.most, 'share'), self.units, 0)} of the most"
                )  # fmt: skip
                pairs.append((dose.piece.block.label, f"{self.dose(rate)}: {over}"))
        elif mix.volume is not None:
            pairs.append(("Most by label", "the plan gives no `most` of this mix"))
        if mix.stumps:
            told = "treated" if mix.done else "to treat; a plan has no dose for a stump: by the label"
            pairs.append(("Stumps", f"{mix.stumps:.0f} {told}"))
        if pairs:
            yield Terms(tuple(pairs))
        hacked = [one.block.label for one in mix.unreckoned if one.method == "hack-and-squirt"]
        if hacked:
            yield Words(f"Not reckoned, for want of `per-hack`, `dbh` or ground: {few(hacked)}.")
        ringed = [one.block.label for one in mix.unreckoned if one.method in ("girdle", "frill")]
        if ringed:
            yield Words(f"By the label alone, for a girdle or a frill is no hack: {few(ringed)}.")

    # -- hours -----------------------------------------------------------------------------------

    def hours(self, tally: Tally) -> Section:
        known = [one for one in tally.worked if one.hours is not None and one.rate is not None]
        parts: list[Part] = []
        if known:
            rows = tuple(self._worked(one) for one in known)
            columns = (Column("Work", share=3), Column("Step", right=True), Column("Ground", right=True),
                       Column("Hours", right=True), Column("Source", share=4))  # fmt: skip
            least, most = (sum(one.hours[end] for one in known if one.hours is not None) for end in (0, 1))
            total = ("all of these", "", "", least_to_most(least, most, 1), "")
            parts.append(Table(columns, rows, "Hours of one worker or crew, as the source has them", total=total))
        parts += self._no_hours([one for one in tally.worked if one.hours is None])
        if not tally.worked:
            parts.append(Words("No work on trees is left to do."))
        parts.append(Words(
            "Spreads to plan by, never targets and never for pay or a race. How many trees an hour are hinged "
            "nobody has published: write down your own.", "small",
        ))  # fmt: skip
        return Section("tally-hours", "Hours", tuple(parts))

    def _no_hours(self, unknown: Sequence[Worked]) -> Iterator[Part]:
        for why in dict.fromkeys(one.why for one in unknown):
            kinds: dict[str, list[str]] = {}
            for one in unknown:
                if one.why == why:
                    kinds.setdefault(how_of(one.piece), []).append(one.piece.block.label)
            told = "; ".join(f"{kind}: {few(labels)}" for kind, labels in kinds.items())
            yield Words(f"{why[0].upper()}{why[1:]}. So no hours are told of what is {told}.")

    def _worked(self, one: Worked) -> tuple[str, ...]:
        assert one.hours is not None and one.rate is not None
        step = "" if one.piece.step is None else f"{one.piece.step:g}"
        ground = self.area(one.piece.area) if one.piece.area else ""
        return one.piece.block.label, step, ground, least_to_most(one.hours.least, one.hours.most, 1), one.rate.source

    # -- money -----------------------------------------------------------------------------------

    def money(self, tally: Tally) -> Iterator[Section]:
        if not tally.priced:
            told = (
                "Nothing is said of money: the plan has no `rates` with year, source and currency. `habitatlint "
                "words rates` shows how they are written."
            )
            yield Section("tally-money", "Money", (Words(told),))
        for one in tally.priced:
            whole = f"Money by {one.block.name}"
            name = "tally-money" if len(tally.priced) == 1 else f"tally-money-{one.block.name}"
            yield Section(name, whole, tuple(self._priced(one)))

    def _priced(self, one: Priced) -> Iterator[Part]:
        source = clean(one.source)
        money = f"{clean(one.currency)} of {one.year}"
        yield Words(f"In {money}, by {source}, for what is still to do.", "lead")
        for charges, total, title in ((one.costs, one.cost, "What it costs"), (one.pays, one.income, "What wood pays")):
            if charges:
                rows = tuple(_charge(charge) for charge in charges)
                columns = (Column("For", share=3), Column("Step", right=True), Column("How much", right=True),
                           Column("At", right=True), Column(money, right=True))  # fmt: skip
                yield Table(columns, rows, f"{title} ({source}, {one.year})",
                            total=("all of these", "", "", "", _money(total)))  # fmt: skip
        if one.choices:
            heads = (Column("Release", share=3), Column("The plan says", share=2), Column("As saw logs", right=True),
                     Column("All as firewood", right=True))  # fmt: skip
            yield Table(heads, tuple(map(_choice, one.choices)), f"Logs or firewood, in {money} ({source})")
        yield from untold(one.unpriced, "No price")
        if one.idle:
            lines = "; ".join(clean(line) for line in one.idle)
            yield Words(f"Lines that fit nothing in this plan, or come second for the same: {lines}.")
        yield Words(
            "A piece of work is priced by the tree where a line has a price by the tree for it, else by its "
            "ground, else by published hours; parts of mixes by their volume besides. Openings, plantings, tasks "
            "and hauling are in none of it. It is no quotation, and last year's price is not this year's.", "small",
        )  # fmt: skip


def _charge(charge: Charge) -> tuple[str, ...]:
    places = 0 if charge.by == "tree" else 2
    step = "" if charge.step is None else f"{charge.step:g}"
    many = f"{charge.amount.least:.2f} {charge.amount.most:.2f}" != "1.00 1.00"
    by = {"thousand-board-feet": "thousand board feet"}.get(charge.by, charge.by)
    unit = f"{by}s" if many and by in ("hour", "tree", "acre", "cord") else by
    amount = f"{least_to_most(charge.amount.least, charge.amount.most, places)} {unit}"
    return charge.what, step, amount, f"{charge.price:,.2f} per {by}", _money(charge.money)


def _money(money: Spread) -> str:
    return least_to_most(money.least, money.most, 2 if money.most < 100 else 0)


def _choice(choice: Choice) -> tuple[str, ...]:
    wood = WOOD_FOR.get(choice.wood.wood, "not said")
    logs, stacked = ("no price" if one is None else _money(one) for one in (choice.logs, choice.firewood))
    return choice.wood.piece.block.label, wood, logs, stacked
