"""The naming rule: by which words a walked thing becomes which block, and what it is called."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon

from habitatlint.exchange.features import Feature
from habitatlint.exchange.naming import (
    Names,
    explanation,
    form_of_a_closed_walk,
    in_order,
    is_name,
    meaning_of,
    name_for,
    title_for,
)
from habitatlint.language.blocks import RESERVED
from habitatlint.language.plan import LAYOUT

SHAPES = {
    "point": Point(0, 0),
    "line": LineString([(0, 0), (1, 1)]),
    "area": Polygon([(0, 0), (1, 0), (1, 1)]),
}


def meant(form: str, name: str, *kinds: str, folder: str = "") -> str:
    meaning = meaning_of(Feature(SHAPES[form], name, kinds, folder), form)
    return " ".join([meaning.noun, *(said for _, said in meaning.properties), *([] if meaning.sure else ["?"])])


@pytest.mark.parametrize(
    ("form", "name", "block"),
    [
        ("point", "Gate", "place gate"),
        ("point", "gates", "place gate"),
        ("point", "Stand 3", "stand"),
        ("point", "Gate stand", "stand"),
        ("point", "Gate by the stand", "place gate"),
        ("point", "Bed", "sign bed"),
        ("point", "Beds seen at the creek", "sign bed"),
        ("point", "Parking area", "place parking"),
        ("point", "White oak", "food mast"),
        ("point", "WP 0017", "place ?"),
        ("point", "Hung tree", "tree hung"),
        ("point", "Snag", "tree dead"),
        ("point", "Dead ash - widowmaker", "tree hung"),
        ("point", "Dead white oak", "tree dead"),
        ("point", "Hung up in an oak", "tree hung"),
        ("point", "Stand by the dead oak", "stand"),
        ("point", "Dead end", "place ?"),
        ("point", "Cell tower", "place ?"),
        ("point", "Blind corner", "place ?"),
        ("point", "Car wreck", "place ?"),
        ("point", "Lot line", "place ?"),
        ("point", "Parking lot", "place parking"),
        ("line", "South lane", "path entry"),
        ("line", "Way out", "path exit"),
        ("line", "Walk in from the road", "path entry"),
        ("line", "Wood road", "path vehicle"),
        ("line", "Town road", "hazard road"),
        ("line", "Deer trail", "path travel"),
        ("line", "Trail", "sign trail"),
        ("line", "Trail to the clover plot", "sign trail"),
        ("line", "Creek", "hazard water"),
        ("line", "Power line", "hazard wire"),
        ("line", "Wire fence", "hazard fence"),
        ("line", "Track 12", "task ?"),
        ("area", "Clover plot by the gate", "food plot"),
        ("area", "Maple stand", "task ?"),
        ("area", "Timber stand", "timber"),
        ("area", "Bean field", "food crop"),
        ("area", "Parcel 2", "boundary"),
        ("area", "Willow thicket", "pocket"),
        ("area", "Polygon 4", "task ?"),
    ],
)
def test_the_last_known_word_before_a_preposition_tells(form: str, name: str, block: str) -> None:
    assert meant(form, name) == block


def test_type_stands_before_symbol_before_name_before_folder() -> None:
    assert meant("point", "Gate", "Tree Stand") == "stand"
    assert meant("point", "Gate", "Flag, Blue") == "place gate"
    assert meant("point", "Number 7", "Waypoint", folder="Scrapes") == "sign scrape"


def test_a_closed_walk_is_an_area_where_its_first_words_are_of_one() -> None:
    def form(name: str, folder: str = "") -> str:
        return form_of_a_closed_walk(Feature(SHAPES["line"], name, (), folder))

    assert form("Clover plot edge") == "area"
    assert form("Boundary walk") == "area"
    assert form("Creek") == "line"
    assert form("South lane", folder="Food plots") == "line"
    assert form("Loop 3") == "area"


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("South lane", "south-lane"),
        ("  Übergang zur Straße  ", "ubergang-zur-strasse"),
        ("Chênes & noyers", "chenes-noyers"),
        ("17", "gate-17"),
        ("3rd stand", "gate-3rd-stand"),
        ("", "gate"),
        ("熊の道", "gate"),
        ("w" * 60, "w" * 40),
        ("a long name that a person wrote as a whole sentence once", "a-long-name-that-a-person-wrote-as-a"),
    ],
)
def test_names_are_plain_lower_case_words(text: str, name: str) -> None:
    assert name_for(text, "gate") == name


@given(st.text(max_size=80))
def test_whatever_people_write_becomes_a_name_of_the_language(text: str) -> None:
    names = Names()
    for _ in range(3):
        name = names.free(name_for(text, "place"))
        assert is_name(name)
        assert name not in {*LAYOUT.nouns, *LAYOUT.any_word, *RESERVED}
    assert len(names.taken) == 3


def test_forty_of_one_name_are_numbered_and_words_of_the_language_from_one() -> None:
    names = Names({"gate-3"})
    assert [names.free("gate") for _ in range(4)] == ["gate", "gate-2", "gate-4", "gate-5"]
    assert [names.free("bed") for _ in range(3)] == ["bed-1", "bed-2", "bed-3"]


def test_a_title_keeps_what_the_name_does_not_say() -> None:
    assert title_for("Übergang", "ubergang") == "Übergang"
    assert title_for("Gate", "gate") == ""
    assert title_for("South lane", "south-lane") == "South lane"


def test_numbers_in_names_sort_as_numbers() -> None:
    assert sorted(["gate-10", "gate-2", "gate", "creek"], key=in_order) == ["creek", "gate", "gate-2", "gate-10"]


def test_every_word_of_the_rule_is_listed() -> None:
    text = explanation()
    assert "place gate\n  point: gate" in text and "clover" in text and "power line" in text
