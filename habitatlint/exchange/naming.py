"""The rule by which what a file holds becomes blocks of a plan.

1. What has a `noun` (files that `export` wrote, or attributes somebody gave) is that block, with its properties.
2. Else words tell. They are looked for in the type, the symbol, the name and the folder, in that order; in each, what
   stands behind `by`, `at`, `of`, `to` and the like does not count, and of several words the last does: a "clover
   plot by the gate" is a plot, a "gate stand" a stand. Words of two (`way out`, `food plot`) count before single ones.
   Words of trees that can kill (`hung`, `snag`, `widowmaker`, `dead`) count before all others: a "dead oak" is no food.
3. A walk that comes back to its start is an area where its word is one of an area, else a way.
4. What has no such word becomes a `place`, and a line or an area a `task`: nobody walks or cuts by a guess. Each is
   told, and says so in a comment.

Names are the thing's own in lower-case words with hyphens, letters without their accents, numbered where there are
several; what people call it stays as the title.
"""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Iterable
from typing import NamedTuple

from habitatlint.exchange.features import Feature
from habitatlint.language.blocks import RESERVED
from habitatlint.language.plan import LAYOUT


class Meaning(NamedTuple):
    """What a word makes of a thing: a block's noun and its properties. `sure` is False for a guess, which is told in
    a note; `word` is the clue."""

    noun: str
    properties: tuple[tuple[str, str], ...] = ()
    sure: bool = True
    word: str = ""

    def value(self, word: str) -> str:
        return dict(self.properties).get(word, "")


def _kind(noun: str, kind: str, property_: str = "kind") -> Meaning:
    return Meaning(noun, ((property_, kind),))


_STAND, _POCKET, _TIMBER, _BOUNDARY, _TASK = (
    Meaning(noun) for noun in ("stand", "pocket", "timber", "boundary", "task")
)
_NATURAL = _kind("pocket", "natural", "cover")
_ENTRY, _EXIT, _TRAVEL, _VEHICLE, _CORRIDOR = (
    _kind("path", use, "use") for use in ("entry", "exit", "travel", "vehicle", "corridor")
)
_PLOT, _MAST, _CROP, _BROWSE = (_kind("food", kind) for kind in ("plot", "mast", "crop", "browse"))
_ROAD, _BUILDING, _WIRE, _WATER, _FENCE, _NEIGHBOUR, _BANK = (
    _kind("hazard", kind) for kind in ("road", "building", "wire", "water", "fence", "neighbour", "bank")
)
_HUNG, _DEAD, _BLOWN = (_kind("tree", state, "state") for state in ("hung", "dead", "blown"))
_BED, _RUB, _SCRAPE, _TRAIL, _CROSSING = (_kind("sign", kind) for kind in ("bed", "rub", "scrape", "trail", "crossing"))

#: nouns that an area is, though a line may bear the word
_AREAS = frozenset({"boundary", "core", "food", "pocket", "timber"})
#: words, and what they make of a point, a line and an area; those of two words count first
_WORDS: dict[str, dict[str, Meaning]] = {}


def _say(words: str, *, point: Meaning | None = None, line: Meaning | None = None, area: Meaning | None = None) -> None:
    meanings = {"point": point, "line": line, "area": area}
    for word in words.split(", "):
        _WORDS[word] = {form: meaning for form, meaning in meanings.items() if meaning is not None}


_say("stand, treestand, ladder, seat", point=_STAND)
_say("tree stand, hunting stand, ladder stand, box blind, ground blind, tower blind, hunting area", point=_STAND)
_say("hung, hung up, lodged, widowmaker, widow maker, hanger", point=_HUNG)
_say("dead, snag, dead tree, standing dead", point=_DEAD)
_say("blown down, blowdown, windthrow, windthrown", point=_BLOWN)
_say("timber stand, woods, wood, timber, forest, woodlot, maples", area=_TIMBER)
_say("gate, entrance gate", point=_kind("place", "gate"))
_say("parking, parking lot, parking place, truck", point=_kind("place", "parking"))
_say("landing, log landing, deck", point=_kind("place", "landing"), area=_kind("place", "landing"))
_say("meeting, meeting place, muster, rally, rally point", point=_kind("place", "meeting"))
_say("bed, beds, bedding", point=_BED, area=_POCKET)
_say("rub, rubs, rub line", point=_RUB, line=_RUB)
_say("scrape, scrapes", point=_SCRAPE, line=_SCRAPE)
_say("crossing, deer crossing", point=_CROSSING, line=_CROSSING)
_say("trail, trails, tracks", point=_TRAIL, line=_TRAIL)
_say("deer trail, deer run, run, runway, travel, travel line, line of travel", point=_TRAIL, line=_TRAVEL)
_say("plot, food plot, clover, brassica, brassicas, turnips, rye, oats, chicory, food", point=_PLOT, area=_PLOT)
_say("field, crop, beans, soybeans, corn, wheat, alfalfa, hay", point=_CROP, area=_CROP)
_say("mast, oak, oaks, white oak, white oaks, acorns, apple, apples, chestnut, chestnuts", point=_MAST, area=_MAST)
_say("browse, regrowth", point=_BROWSE, area=_BROWSE)
_say("pocket, thicket, cover, bedding area, bedding pocket", area=_POCKET)
_say("cedars, laurel, willows, brush, hazel, alders, swale grass", area=_NATURAL)
_say("core, sanctuary, refuge", area=Meaning("core"))
_say("boundary, boundary walk, property, property line, parcel, border, perimeter, tract, line fence",
     line=_BOUNDARY, area=_BOUNDARY)  # fmt: skip
_say("lane, entry, access, walk, path, approach, way, way in, walk in, entry lane, walkway, footpath", line=_ENTRY)
_say("exit, way out, walk out", line=_EXIT)
_say("wood road, logging road, skid trail, skid road, two track, two-track, driveway, drive, farm lane, haul road, "
     "access road, vehicle, vehicle track", line=_VEHICLE)  # fmt: skip
_say("corridor", line=_CORRIDOR)
_say("road, highway, street, county road, town road", point=_ROAD, line=_ROAD, area=_ROAD)
_say("creek, stream, brook, river, water, ditch, spring, pond, lake, swamp, marsh, slough, wetland",
     point=_WATER, line=_WATER, area=_WATER)  # fmt: skip
_say("wire, wires, power line, powerline, transmission line, electric line, utility line",
     point=_WIRE, line=_WIRE, area=_WIRE)  # fmt: skip
_say("fence, wire fence, fence line, fenceline, barbed wire", point=_FENCE, line=_FENCE)
_say("house, cabin, barn, shed, building, residence, dwelling, camp, lodge",
     point=_BUILDING, line=_BUILDING, area=_BUILDING)  # fmt: skip
_say("bank, bluff, cliff, ledge, cutbank", point=_BANK, line=_BANK, area=_BANK)
_say("neighbour, neighbor", point=_NEIGHBOUR, line=_NEIGHBOUR, area=_NEIGHBOUR)
_say("drain, draw, ravine, gully, swale, hollow", line=Meaning("drain"))
_say("screen, hedge, planting, spruces", line=_kind("planting", "screen"), area=_kind("planting", "cover"))
_say("task, todo, to do, work, fix, cut, cutting, hinge, hinges, release, opening", point=_TASK, line=_TASK, area=_TASK)
del _say

#: behind these stands what a thing is by, not what it is
_BEHIND = frozenset(
    "above across along around at before behind below beneath beside between by for from inside into near of off on "
    "over past the through to toward towards under up down with".split()
)
#: two words in which one of those counts
_IN, _OUT = "in", "out"
_LONGEST_NAME = 40


def words_of(text: str) -> list[str]:
    """The words of a text in plain lower-case letters, without their accents."""
    decomposed = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ø", "o").replace("Ø", "O"))
    plain = "".join(letter for letter in decomposed if not unicodedata.combining(letter))
    return re.findall(r"[a-z0-9]+", plain.lower())


def _danger(words: list[str]) -> Meaning | None:
    """A tree that hangs, or else is dead or blown down, wherever its word stands; a dead end is none."""
    found = None
    for at, word in enumerate(words):
        if word == "dead" and words[at + 1 : at + 2] == ["end"]:
            continue
        for said in (word, " ".join(words[at : at + 2])):
            meaning = _WORDS.get(said, {}).get("point")
            if meaning is not None and meaning.noun == "tree" and (found is None or meaning is _HUNG):
                found = meaning
    return found


def clue(text: str, form: str) -> Meaning | None:
    """What the words of a text make of a thing of a form; None without a clue."""
    words = words_of(text)
    for at, word in enumerate(words):
        if at and (word in _BEHIND or (word == _IN and words[at - 1] not in ("way", "walk"))):
            words = words[:at]
            break
    if form == "point" and (danger := _danger(words)) is not None:
        return danger
    for at in range(len(words), 0, -1):
        for long in (3, 2, 1):
            if at - long < 0:
                continue
            said = " ".join(words[at - long : at])
            meaning = _WORDS.get(said, _WORDS.get(said.removesuffix("s"), {})).get(form)
            if meaning is not None and meaning.noun != "tree":
                return meaning._replace(word=said)
    return None


def meaning_of(feature: Feature, form: str) -> Meaning:
    """What a thing without a noun of its own is taken for, as a thing of a form."""
    for text in (*feature.kinds, feature.name, feature.folder):
        found = clue(text, form)
        if found is not None:
            return found
    unsure = {
        "point": Meaning("place", sure=False),
        "line": Meaning("task", sure=False),
        "area": Meaning("task", sure=False),
    }
    return unsure[form]


def form_of_a_closed_walk(feature: Feature) -> str:
    """`area` or `line`, for a walk that came back to its start: by the first words that tell."""
    for text in (*feature.kinds, feature.name, feature.folder):
        area, line = clue(text, "area"), clue(text, "line")
        if area is not None and (line is None or area.noun in _AREAS):
            return "area"
        if line is not None:
            return "line"
    return "area"


#: words that a name is not, though the language would take most of them: they would read as something else
_WORDS_OF_THE_LANGUAGE = frozenset({*RESERVED, *LAYOUT.nouns, *LAYOUT.any_word, "yes", "no", "boundary"})
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def is_name(text: str) -> bool:
    """It can stand as a block's name as it is."""
    return _NAME.fullmatch(text) is not None and text not in RESERVED


def name_for(text: str, otherwise: str) -> str:
    """A name out of what people call a thing; out of its kind where that has no letters."""
    words = words_of(text)
    if not any(letter.isalpha() for word in words for letter in word):
        words = [otherwise, *words]
    if words[0][0].isdigit():
        words = [otherwise, *words]
    name = "-".join(words)
    if len(name) > _LONGEST_NAME:
        name = name[: _LONGEST_NAME + 1].rpartition("-")[0] or name[:_LONGEST_NAME]
    return name


class Names:
    """The names of a plan: those that are taken, and the next number of each."""

    def __init__(self, taken: Iterable[str] = ()) -> None:
        self.taken = set(taken)
        self._next: dict[str, int] = {}

    def free(self, name: str) -> str:
        """A name that nothing bears yet, and that is no word of the language: itself, or with a number."""
        wanted, number = name, self._next.get(name, 2)
        if name in _WORDS_OF_THE_LANGUAGE:
            number = self._next.get(name, 1)
            wanted = f"{name}-{number}"
        while wanted in self.taken:
            wanted, number = f"{name}-{number}", number + 1
        self._next[name] = number
        self.taken.add(wanted)
        return wanted


def title_for(text: str, name: str) -> str:
    """The title that keeps what people call a thing, "" where its name says as much."""
    return "" if not text or text.lower() in (name, name.removesuffix("-1")) else text


def in_order(name: str) -> list[tuple[int, int | str]]:
    """Sorts names as a person would: `gate-2` before `gate-10`."""
    return [(0, int(part)) if part.isdigit() else (1, part) for part in re.split(r"(\d+)", name) if part]


def explanation() -> str:
    """The words that are known, by what they make of a thing: a block's line each, its form in brackets."""
    groups: dict[str, dict[str, list[str]]] = {}
    for word, by_form in _WORDS.items():
        for form, meaning in by_form.items():
            what = " ".join([meaning.noun, *(value for _, value in meaning.properties)])
            groups.setdefault(what, {}).setdefault(word, []).append(form)
    lines = []
    for what, words in sorted(groups.items()):
        by_forms: dict[str, list[str]] = {}
        for word, forms in words.items():
            by_forms.setdefault(", ".join(forms), []).append(word)
        lines.append(what)
        for of, known in by_forms.items():
            lines += textwrap.wrap(", ".join(known), 100, initial_indent=f"  {of}: ", subsequent_indent="    ",
                                   break_on_hyphens=False)  # fmt: skip
    return "\n".join([*lines, ""])
