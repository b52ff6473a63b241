"""What fuzzing found, each with its name."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from fuzz import truths

from habitatlint import files
from habitatlint.exchange import forms
from habitatlint.exchange.features import ExchangeTrouble
from habitatlint.exchange.importing import Brought, into_new
from habitatlint.outputs import Style, packs, render
from habitatlint.packs.soundness import look
from habitatlint.review import pack_reader
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import rule_grammar
from habitatlint.source import Source


@pytest.mark.parametrize("steering", ["\u202e", "\x9b"])
def test_what_a_strangers_pack_says_steers_no_terminal_as_json_either(steering: str) -> None:
    """Version and words of a pack went into `pack check --format json` as they were."""
    review = truths.reviewer()
    read = pack_reader(review.plan_grammar, lambda: files.grammar("rules", rule_grammar))
    text = f'pack creek "Creek"\n  version "{steering}{{"\n  no{steering}pe "x"\n'
    pack = read("creek", [Source("pack.rules", text)])
    page = packs.render("json", look(pack, replace(review, rulebook=Rulebook(())), review.vocabulary))
    assert steering not in page
    told = json.loads(page)
    assert told["pack-version"] == "?{" and any("no?pe" in one["message"] for one in told["remarks"])


@pytest.mark.parametrize("nothing", ["0ft", "0in..0cm"])
def test_trees_of_no_height_are_told_and_judged_by_none(nothing: str) -> None:
    """A range of nothing passed, and how high they are cut was divided by it."""
    plan = (
        "plan x\nboundary\n  outline 0,0 400,0 400,400 0,400\nrow first\n  method hinge\n  stumps 60,60 140,60\n"
        f"  spacing 20\n  fall N\ntrees\n  cut-height 3ft\n  tree-height {nothing}\n"
    )
    report = truths.reviewer().check(Source("plan.habitat", plan), truths.POLICY)
    told = [finding.span.text for finding in report.findings if finding.rule == "record/bad-value"]
    assert told == [nothing]


def brought(name: str, text: str) -> Brought:
    ending = forms.ending_of(name)
    return into_new([(name, forms.read(name, {ending: text.encode()}))], truths.reviewer().plan_grammar)


def test_two_things_that_lie_far_from_their_middle_are_refused_in_a_line() -> None:
    gpx = '<gpx xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="40" lon="-93"/><wpt lat="40" lon="-92"/></gpx>'
    with pytest.raises(ExchangeTrouble, match="lie so far apart"):
        brought("walk.gpx", gpx)


@pytest.mark.parametrize(
    ("noun", "shape", "form"),
    [
        ("pocket", {"type": "LineString", "coordinates": [[-93, 40], [-93, 40.001]]}, "line"),
        ("core", {"type": "Point", "coordinates": [-93, 40]}, "point"),
        ("place", {"type": "Polygon", "coordinates": [[[-93, 40], [-93, 40.001], [-93.001, 40], [-93, 40]]]}, "area"),
    ],
)
def test_a_thing_of_a_shape_that_it_cannot_have_is_guessed_at_and_told(
    noun: str, shape: dict[str, object], form: str
) -> None:
    feature = {"type": "Feature", "properties": {"noun": noun, "name": "thing"}, "geometry": shape}
    made = brought("a.geojson", json.dumps(feature))
    assert f"\n{noun} " not in made.text and f"no {noun} is given by a {form}, so it is guessed at" in made.told[0]


def test_words_in_quotes_over_two_lines_are_told_on_one_where_they_do_not_belong() -> None:
    """The line for editors went on in the next one, where nothing reads it."""
    source = Source("plan.habitat", 'plan "P"\npatch thick\n  keep "a \\\n    b"\n')
    report = truths.reviewer().check(source, truths.POLICY)
    lines = render("gnu", [report.verdict], Style()).splitlines()
    assert len(lines) == len(report.findings)
    assert 'not `"a b"` (record/syntax)' in "\n".join(lines)
