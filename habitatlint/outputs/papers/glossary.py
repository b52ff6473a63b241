"""Words of the trade, said plainly, for an owner who reads them for the first time."""

from __future__ import annotations

import re
from collections.abc import Iterable

from habitatlint.outputs.papers.paper import Section, Terms

#: word, how it may stand in a text (a pattern), and what it is. Common use of the trade, no source; the figures that
#: define some of them (DBH at 4.5 ft, the cord) are standard
WORDS: tuple[tuple[str, str, str], ...] = (
    ("as-built", r"as[- ]built", "a plan of the ground as it was really cut, not as it was meant."),
    ("basal area", r"basal area|sqft/ac|sqm/ha", "the area of all stems cut across at breast height, on an acre or a "
     "hectare: a measure of how much timber stands."),
    ("board foot", r"board f", "a measure of sawn wood, 12 by 12 by 1 in; of a log it is estimated by a log rule."),
    ("bedding", r"bed(ding|s)?\b", "where deer lie by day."),
    ("closed V", r"closed V|\bVs?\b", "two tops that meet at a point, open toward the deer: it runs in and is caught."),
    ("cord", r"\bcords?\b", "128 cubic feet of stacked wood."),
    ("core", r"\bcore\b", "the middle of a property, left alone."),
    ("danger tree", r"danger tree", "a tree that may fall or drop limbs of itself: dead, hung, split, hollow."),
    ("DBH", r"DBH|dbh|\bin thick\b", "the diameter of a stem at breast height, 4.5 ft above the ground."),
    ("dead end", r"dead[- ]end", "ground among tops that narrows to nothing, so that a deer must turn back."),
    ("edge", r"\bedge\b", "the rim of the woods along open ground, cut back so that it grows thick."),
    ("fell", r"\bfell(ed|s|ing)?\b", "cut through, so that the tree comes down and dies; its stump may sprout."),
    ("frill", r"frill", "a ring of downward cuts round a stem, with herbicide in them."),
    ("girdle", r"girdle", "two cuts round a stem that kill it standing."),
    ("hack-and-squirt", r"hack", "cuts into a stem, spaced round it, each with a measured dose of herbicide."),
    ("hinge", r"hing", "cut part way, so that the top comes down and lives on as browse and cover."),
    ("hung tree", r"\bhung\b|lodged", "a tree caught in another on its way down. Nobody works under it."),
    ("lean", r"\blean", "a tree that stands out of plumb; it falls where it leans."),
    ("mast", r"\bmast\b", "acorns, nuts and fruit."),
    ("open arc", r"open arc|ways? out", "out of how many degrees of the compass trouble may come and still leave a "
     "bed a way out that does not lead toward it."),
    ("overstory", r"overstory", "the big trees over what is cut."),
    ("plot", r"\bplots?\b", "a field sown for deer."),
    ("pocket", r"pocket", "a patch of cover that deer bed in."),
    ("re-entry", r"re-?entry", "how long after herbicide others stay out, as the label says."),
    ("release", r"release", "the overstory comes down, so that light reaches what is below."),
    ("roof", r"\broof", "ground under two tops or more, where nothing grows."),
    ("screen", r"\bscreen", "a line of cover along a path, so that deer do not see who walks there."),
    ("setback", r"setback", "a distance to be kept, by law or contract."),
    ("top", r"\btops?\b", "the crown of a tree that is down."),
    ("travel", r"travel", "the line along which deer go between bed and food."),
    ("treat the stump", r"treat", "put herbicide on a fresh stump, so that it does not sprout."),
)  # fmt: skip


def glossary(text: Iterable[str]) -> Section | None:
    """The words that stand in the texts of a paper, in the order of the alphabet; None where none does."""
    whole = "\n".join(text)
    found = tuple((word, said) for word, pattern, said in WORDS if re.search(pattern, whole))
    return Section("glossary", "Words used here", (Terms(found),)) if found else None
