"""Crown width and height from diameter at breast height (DBH), by species.

Crown width is the forest-grown curve of *South. J. Appl. For.* 27(4):269-278
(2003), Hopkins index 0 (a plan has no elevation), as coded by the USDA Forest
Service in FVS `ls/cwcalc.f`. Height is the Central States default of FVS
(`cs/blkdat.f`, `cs/htdbh.f`): Wykoff for most, Curtis-Arney for a few.

What a curve gives is the mean of many trees, not the tree at hand: whatever
rests on it is an estimate, and a finding has to say so.

A species is named by slug. Each entry of `KNOWN` says of both its curves
whether it is the species' **own**, a **surrogate** (the curve of another
species, put in its place by the source or, for a generic name, by us) or a
**group** (the mean of several). The group `hardwood` is the mean of the nine
species of `HARDWOODS`, the ones with both curves of their own in the tables of
the source that this project checks. It stands for every species without a
curve here, conifers too, for which it is rough.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from habitatlint.units import FOOT, INCH

Basis = Literal["own", "surrogate", "group"]
FloatArray = npt.NDArray[np.float64]

#: Crown length over tree height where a plan gives none (common practice, no source).
DEFAULT_CROWN_RATIO = 0.4

#: DBH in inches under which a forest-grown crown shrinks in a straight line to nothing.
SMALL_CROWN = 5.0
#: DBH in inches under which a Curtis-Arney height runs straight down to breast height.
SMALL_HEIGHT = 3.0
#: Breast height, in feet.
BREAST = 4.5

HARDWOOD = "hardwood"


class Crown(NamedTuple):
    """Width in feet = constant + linear D + square D^2 + ratio CR (D inches, CR per cent).

    `cap` is the widest crown the curve may give, in feet; past `held_from`
    inches DBH it is held level.
    """

    constant: float
    linear: float
    ratio: float
    cap: float = np.inf
    square: float = 0.0
    held_from: float = np.inf


class Wykoff(NamedTuple):
    """Height in feet = 4.5 + exp(b1 + b2 / (D + 1)), D in inches."""

    b1: float
    b2: float


class CurtisArney(NamedTuple):
    """Height in feet = 4.5 + p2 exp(-p3 D^p4), D in inches, from 3 in DBH up.

    Below 3 in, straight down to 4.51 ft at `bud` inches, the source's bud width.
    """

    p2: float
    p3: float
    p4: float
    bud: float


class Species(NamedTuple):
    """A species the curves know: which curves it is judged by, and whose they are."""

    slug: str
    crown: str
    height: str
    crown_basis: Basis
    height_basis: Basis
    note: str = ""

    @property
    def basis(self) -> Literal["own", "group"]:
        """`own` where both curves are the species' own, else `group`."""
        return "own" if self.crown_basis == self.height_basis == "own" else "group"


#: FVS `ls/cwcalc.f`, forest-grown, Hopkins index 0.
CROWNS: Mapping[str, Crown] = MappingProxyType(
    {
        "red-maple": Crown(2.7563, 1.4212, 0.0993, square=-0.0143, held_from=50.0),
        "sugar-maple": Crown(4.9399, 1.0727, 0.1096, cap=54.0),
        "silver-maple": Crown(3.3576, 1.1312, 0.1011, cap=45.0),
        "boxelder": Crown(6.4741, 1.0778, 0.0719, cap=57.0),
        "white-oak": Crown(3.2375, 1.5234, 0.0455, cap=69.0),
        "red-oak": Crown(2.8908, 1.4077, 0.0643, cap=82.0),
        "black-oak": Crown(2.8974, 1.3697, 0.0671, cap=52.0),
        "shagbark-hickory": Crown(4.5453, 1.3721, 0.0430, cap=54.0),
        "quaking-aspen": Crown(0.7315, 1.3180, 0.0966, cap=39.0),
        "american-elm": Crown(1.7296, 2.0732, 0.0590, cap=50.0),
        "hackberry": Crown(7.1043, 1.3041, 0.0456, cap=51.0),
        "white-ash": Crown(1.7625, 1.3413, 0.0957, cap=62.0),
        "black-cherry": Crown(3.0237, 1.1119, 0.1112, cap=52.0),
        "black-locust": Crown(3.0012, 0.8165, 0.1395, cap=48.0),
        "hophornbeam": Crown(7.8084, 0.8129, 0.0941, cap=39.0),
        "american-beech": Crown(3.9361, 1.1500, 0.1237, cap=80.0),
        "sassafras": Crown(4.6311, 1.0108, 0.0564, cap=29.0),
        "basswood": Crown(1.6871, 1.2110, 0.1194, cap=61.0),
        "black-walnut": Crown(3.6031, 1.1472, 0.1224, cap=37.0),
        "sweetgum": Crown(1.8853, 1.1625, 0.0656, cap=50.0),
        "tulip-poplar": Crown(3.3543, 1.1627, 0.0857, cap=61.0),
        "yellow-birch": Crown(-1.1151, 2.2888, 0.0985, square=-0.0493, held_from=24.0),
        "paper-birch": Crown(2.8399, 1.2398, 0.0855, cap=42.0),
    }
)

#: FVS Central States, `cs/blkdat.f`.
WYKOFF: Mapping[str, Wykoff] = MappingProxyType(
    {
        "red-maple": Wykoff(4.3379, -3.8214),
        "sugar-maple": Wykoff(4.4834, -4.5431),
        "white-oak": Wykoff(4.5463, -5.2287),
        "red-oak": Wykoff(4.5202, -4.8896),
        "black-oak": Wykoff(4.4747, -4.8698),
        "hickory": Wykoff(4.5128, -4.9918),
        "american-elm": Wykoff(4.6008, -7.2732),
        "white-ash": Wykoff(4.5959, -6.4497),
        "black-cherry": Wykoff(4.3286, -4.0922),
        "butternut": Wykoff(4.5018, -5.6123),
        "miscellaneous-hardwood": Wykoff(4.0322, -3.0833),
        "american-beech": Wykoff(4.4772, -4.7206),
        "basswood": Wykoff(4.5820, -5.0903),
        "sweetgum": Wykoff(4.5920, -5.1719),
    }
)

#: FVS Central States, `cs/htdbh.f`: the species whose default there is Curtis-Arney.
CURTIS_ARNEY: Mapping[str, CurtisArney] = MappingProxyType(
    {
        "hackberry": CurtisArney(484.7529797, 3.93933286, -0.25998833, 0.1),
        "black-locust": CurtisArney(880.2844971, 4.59642097, -0.21824277, 0.1),
        "silver-maple": CurtisArney(80.51179925, 26.98331005, -2.02202808, 0.2),
        "sassafras": CurtisArney(755.1038099, 4.39496421, -0.21778831, 0.1),
        "tulip-poplar": CurtisArney(625.7696614, 3.87320571, -0.23349496, 0.2),
    }
)

#: The group `hardwood`: the mean of these.
HARDWOODS = (
    "red-maple",
    "sugar-maple",
    "white-oak",
    "red-oak",
    "black-oak",
    "shagbark-hickory",
    "american-elm",
    "white-ash",
    "black-cherry",
)
#: Groups of a generic name: the mean of these.
GROUPS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        HARDWOOD: HARDWOODS,
        "oaks": ("white-oak", "red-oak", "black-oak"),
        "maples": ("red-maple", "sugar-maple"),
    }
)
#: A hickory's height curve is that of the whole genus in the source.
_HEIGHT_NAME = {"shagbark-hickory": "hickory"}


def _own(slug: str, curve: str = "") -> Species:
    curve = curve or slug
    return Species(slug, curve, _HEIGHT_NAME.get(curve, curve), "own", "own")


def _entries() -> dict[str, Species]:
    both_own = (*HARDWOODS, *CURTIS_ARNEY, "american-beech", "basswood", "sweetgum")
    entries = [_own(slug) for slug in both_own]
    entries += [
        _own(slug, curve)
        for slug, curve in (
            ("northern-red-oak", "red-oak"),
            ("beech", "american-beech"),
            ("american-basswood", "basswood"),
            ("yellow-poplar", "tulip-poplar"),
        )
    ]
    for slug, curve in (("elm", "american-elm"), ("ash", "white-ash"), ("cherry", "black-cherry")):
        note = f"a generic name, judged by the curves of {curve}"
        entries.append(Species(slug, curve, curve, "surrogate", "surrogate", note))
    for slug, group in (("oak", "oaks"), ("maple", "maples")):
        note = f"a generic name, judged by the mean of {', '.join(GROUPS[group])}"
        entries.append(Species(slug, group, group, "group", "group", note))
    for slug in ("hophornbeam", "ironwood"):
        note = "height by the source's curve for miscellaneous hardwoods"
        entries.append(Species(slug, "hophornbeam", "miscellaneous-hardwood", "own", "surrogate", note))
    for slug in ("aspen", "quaking-aspen"):
        note = "height by the source's surrogate, hickory"
        entries.append(Species(slug, "quaking-aspen", "hickory", "own", "surrogate", note))
    for slug in ("boxelder", "black-walnut"):
        note = "height by a curve that the source shares among butternut, black walnut and boxelder"
        entries.append(Species(slug, slug, "butternut", "own", "surrogate", note))
    note = "no curve of its own: crown by sassafras, height by miscellaneous hardwoods, as in the source"
    entries.append(Species("osage-orange", "sassafras", "miscellaneous-hardwood", "surrogate", "surrogate", note))
    note = "crown by shagbark hickory, as in the source"
    entries.append(Species("hickory", "shagbark-hickory", "hickory", "surrogate", "own", note))
    for slug in ("pignut-hickory", "mockernut-hickory", "bitternut-hickory"):
        note = "crown by shagbark hickory, height by the genus"
        entries.append(Species(slug, "shagbark-hickory", "hickory", "surrogate", "surrogate", note))
    for slug in ("yellow-birch", "paper-birch"):
        note = "height by the hardwood group"
        entries.append(Species(slug, slug, HARDWOOD, "own", "group", note))
    hardwoods = (
        "american-hornbeam apple bigtooth-aspen birch black-ash black-gum black-willow bur-oak "
        "butternut buckeye chestnut-oak chinkapin-oak cottonwood dogwood eastern-cottonwood "
        "flowering-dogwood green-ash hawthorn honey-locust mulberry musclewood pawpaw persimmon "
        "pin-cherry pin-oak poplar post-oak red-mulberry redbud river-birch scarlet-oak serviceberry "
        "shingle-oak slippery-elm sourwood southern-red-oak striped-maple swamp-white-oak sweet-birch "
        "sycamore tupelo walnut water-oak willow"
    )
    for slug in (HARDWOOD, *hardwoods.split()):
        note = "by the hardwood group, the mean of " + ", ".join(HARDWOODS)
        entries.append(Species(slug, HARDWOOD, HARDWOOD, "group", "group", note))
    conifers = (
        "balsam-fir baldcypress cedar eastern-hemlock eastern-redcedar eastern-white-pine hemlock "
        "jack-pine loblolly-pine northern-white-cedar norway-spruce pine pitch-pine red-pine red-spruce "
        "redcedar shortleaf-pine spruce tamarack virginia-pine white-cedar white-pine white-spruce"
    )
    for slug in conifers.split():
        note = "a conifer, by the hardwood group for want of a curve here: rough"
        entries.append(Species(slug, HARDWOOD, HARDWOOD, "group", "group", note))
    return {entry.slug: entry for entry in sorted(entries)}


#: Every species known, by slug; the reference page lists them.
KNOWN: Mapping[str, Species] = MappingProxyType(_entries())


def crown_width(species: Sequence[str], dbh: FloatArray, crown_ratio: FloatArray) -> FloatArray:
    """Width of the crown of a tree grown in the forest, in metres.

    `dbh` in metres and `crown_ratio` as a fraction are broadcast together. Of
    several species the mean is taken; of none, or where a name is unknown, the
    hardwood group stands in. Below 5 in DBH the width falls in a straight line
    to nothing at nothing; each curve is held to its cap. NaN in gives NaN.
    Source: see the head of this module.
    """
    inches, percent = np.broadcast_arrays(
        np.asarray(dbh, dtype=np.float64) / INCH, np.asarray(crown_ratio, dtype=np.float64) * 100
    )
    widths = [
        np.mean([_crown(CROWNS[curve], inches, percent) for curve in _members(entry.crown)], axis=0)
        for entry in _entries_of(species)
    ]
    return np.asarray(np.mean(widths, axis=0) * FOOT, dtype=np.float64)


def height(species: Sequence[str], dbh: FloatArray) -> FloatArray:
    """Total height of a tree from its DBH, both in metres.

    Each species by its default in the source: Wykoff, or Curtis-Arney where it
    stands in `CURTIS_ARNEY`. Means and unknown names as for `crown_width`. A
    DBH of nothing is no tree, of height 0, although the curves themselves start
    above breast height. NaN in gives NaN.
    """
    inches = np.asarray(dbh, dtype=np.float64) / INCH
    heights = [
        np.mean([_height(curve, inches) for curve in _members(entry.height)], axis=0) for entry in _entries_of(species)
    ]
    return np.asarray(np.where(inches <= 0, 0.0, np.mean(heights, axis=0)) * FOOT, dtype=np.float64)


def height_curtis_arney(curve: CurtisArney, dbh: FloatArray) -> FloatArray:
    """Total height by a Curtis-Arney curve; DBH and height in metres, 0 at no DBH."""
    inches = np.asarray(dbh, dtype=np.float64) / INCH
    feet = np.where(inches <= 0, 0.0, _curtis_arney(curve, inches))
    return np.asarray(feet * FOOT, dtype=np.float64)


def _entries_of(species: Sequence[str]) -> list[Species]:
    unknown = KNOWN[HARDWOOD]
    return [KNOWN.get(slug, unknown) for slug in species] or [unknown]


def _members(curve: str) -> tuple[str, ...]:
    return GROUPS.get(curve, (curve,))


def _crown(curve: Crown, inches: FloatArray, percent: FloatArray) -> FloatArray:
    grown = np.clip(inches, SMALL_CROWN, curve.held_from)
    width = curve.constant + curve.linear * grown + curve.square * grown**2 + curve.ratio * percent
    small = np.clip(inches / SMALL_CROWN, 0.0, 1.0)
    return np.asarray(np.minimum(width * small, curve.cap), dtype=np.float64)


def _height(curve: str, inches: FloatArray) -> FloatArray:
    curve = _HEIGHT_NAME.get(curve, curve)
    if curve in CURTIS_ARNEY:
        return _curtis_arney(CURTIS_ARNEY[curve], inches)
    b1, b2 = WYKOFF[curve]
    return np.asarray(BREAST + np.exp(b1 + b2 / (np.maximum(inches, 0.0) + 1)), dtype=np.float64)


def _curtis_arney(curve: CurtisArney, inches: FloatArray) -> FloatArray:
    grown = np.maximum(inches, SMALL_HEIGHT)
    tall = BREAST + curve.p2 * np.exp(-curve.p3 * grown**curve.p4)
    # 4.51 ft, not 4.5, is where the source's straight line starts
    slope = (tall - BREAST - 0.01) / (SMALL_HEIGHT - curve.bud)
    short = BREAST + 0.01 + slope * (np.maximum(inches, curve.bud) - curve.bud)
    return np.asarray(np.where(inches < SMALL_HEIGHT, short, tall), dtype=np.float64)
