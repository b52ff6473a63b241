"""What `pack check` tells of a pack: rules that never report, rules against each other, figures, mends, examples."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from habitatlint.cli.assembly import pack_texts_reader
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Policy
from habitatlint.measures import every_measure
from habitatlint.outputs.packs import Looked
from habitatlint.packs.reach import clashes, never
from habitatlint.packs.soundness import look
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import Pack, Rule
from habitatlint.source import Source

SHIPPED = assembled()
READ = pack_texts_reader(SHIPPED)
WORDS = every_measure()
HEAD = 'pack own "Own"\n  version "1.0"\n'


def pack(*rules: str, head: str = HEAD) -> Pack:
    sources = [Source(f"own/r{number}.rules", text) for number, text in enumerate(rules)]
    return READ("own", [Source("own/pack.rules", head), *sources])


def looked(*rules: str, head: str = HEAD) -> Looked:
    return look(pack(*rules, head=head), SHIPPED, WORDS)


def told(found: Looked, kind: str = "") -> list[str]:
    return [
        f"{one.span.source.name.removeprefix('own/')}:{one.span.line} {one.level.name} {one.words}"
        for one in found.remarks
        if not kind or one.kind == kind
    ]


def rule(body: str, slug: str = "near", more: str = "") -> str:
    return f'rule {slug}\n  title "Near"\n{body}  mark b\n  because "so"\n{more}'


NEAR = (
    '  limit room 40yd  10yd..90yd  common-practice "the test\'s own"\n  each b in beds, w in walks within 200yd of b\n'
    "  measure gap = distance(b, w)\n"
)
EXAMPLES = """
broken
  path lane
    use entry
    line 0,0 200,0
  pocket oak
    outline 80,20 160,20 160,90 80,90
    bed 120,39
        ^^^^^^ warning, measured 39 yd, wanted 40 yd
kept
  path lane
    use entry
    line 0,0 200,0
  pocket oak
    outline 80,20 160,20 160,90 80,90
    bed 120,41
"""


def only(body: str) -> Rule:
    read = pack(rule(body))
    assert not read.slips, [(slip.span.line, slip.why) for slip in read.slips]
    return read.rules[0]


def test_a_sound_rule_with_a_plan_either_side_of_its_figure_leaves_nothing_to_tell() -> None:
    found = looked(rule(NEAR + '  report warning when gap < room\n    say "{b} is near"\n', more=EXAMPLES))
    assert told(found) == []
    (cover,) = found.covers
    assert cover == ("near", 1, 1, 0, (("warning", True),), (("room", True),))


# -- reports that are never made -------------------------------------------------------------------------------


@pytest.mark.parametrize("rule", SHIPPED.rulebook.rules, ids=lambda one: one.name)
def test_no_rule_that_ships_is_told_to_be_out_of_reach_or_against_another(rule: Rule) -> None:
    assert never(rule, WORDS) == []
    assert list(clashes(rule, {one.name: one for one in SHIPPED.rulebook.rules}, WORDS)) == []


@pytest.mark.parametrize(
    ("lines", "report", "ever"),
    [
        # nothing is nearer than nought
        ('  report warning when gap < 0yd\n    say "x"\n', 0, False),
        # a share has a whole at most
        ('  measure part = covered(b.pocket, w)\n  report note when part > 120%\n    say "x"\n', 0, False),
        # pairs are looked for within 200 yd
        ('  report warning when gap > 300yd\n    say "x"\n', 0, False),
        # what is nearer than 90 yd is told by the first, for every figure that the limit may have
        ('  report warning when gap < 90yd\n    say "x"\n  report note when gap < room\n    say "y"\n', 1, False),
        # and this only while the limit stands at 40 yd
        ('  report warning when gap < 50yd\n    say "x"\n  report note when gap < room\n    say "y"\n', 1, True),
        # the filter lets nothing through that the report asks for
        ('  where distance(b, w) > 100yd\n  report note when gap < room\n    say "y"\n', 0, False),
        ('  where b.pocket is cut\n  where b.pocket is not cut\n  report note\n    say "y"\n', 0, False),
        ('  where b.pocket.for is does\n  where b.pocket.for is bucks or any\n  report note\n    say "y"\n', 0, False),
        ('  measure beds = count of o in beds (o.pocket is b.pocket)\n  report note when beds < 0\n    say "y"\n', 0, False),
        # the same said by `not`, by `no`, by every way of an `or`, by what is needed
        ('  where not (b.pocket is cut)\n  where b.pocket is cut\n  report note\n    say "y"\n', 0, False),
        ('  where not distance(b, w) > 30yd\n  report note when gap > 35yd\n    say "y"\n', 0, False),
        ('  where distance(b, w) > 300yd or gap < 0yd\n  report note\n    say "y"\n', 0, False),
        ('  where not (gap < 300yd and gap >= 0yd)\n  report note\n    say "y"\n', 0, False),
        (
            '  where any o in beds (o.pocket is b.pocket)\n  where no o in beds (o.pocket is b.pocket)\n  report note\n    say "y"\n',
            0, False,
        ),
        ('  needs b.pocket.for\n  where b.pocket.for is missing\n  report note\n    say "y"\n', 0, False),
        ('  where b.pocket.for is missing\n  where b.pocket.for is does\n  report note\n    say "y"\n', 0, False),
        ('  needs b.pocket.for\n  where b.pocket.for is does or missing\n  where b.pocket.for is bucks or missing\n  report note\n    say "y"\n', 0, False),
        # between two counts there is none
        (
            '  measure beds = count of o in beds (o.pocket is b.pocket)\n  where beds > 2\n  report note when beds < 3\n    say "y"\n',
            0, False,
        ),
        ('  report note when gap < gap\n    say "y"\n', 0, False),
        ('  where gap * 2 < 0yd\n  report note\n    say "y"\n', 0, False),
        ('  measure far = sum gap for o in beds\n  report note when far < 0yd\n    say "y"\n', 0, False),
    ],
)  # fmt: skip
def test_a_report_that_is_never_made_is_told(lines: str, report: int, ever: bool) -> None:
    assert [(one.report, one.ever) for one in never(only(NEAR + lines), WORDS)] == [(report, ever)]


@pytest.mark.parametrize(
    "lines",
    [
        '  report warning when gap <= 0yd\n    say "x"\n',
        '  report warning when gap < room\n    say "x"\n  report note when gap < 60yd\n    say "y"\n',
        '  report warning when gap < 20yd\n    say "x"\n  report note when gap > 60yd\n    say "y"\n',
        '  where b.pocket is cut\n  where b.pocket is not core\n  report note\n    say "y"\n',
        '  where b.pocket.for is does or any\n  where b.pocket.for is not any\n  report note\n    say "y"\n',
        '  where distance(b, w) > 20yd\n  report note when gap < room\n    say "y"\n',
        '  where distance(b, w) > 300yd or gap < 20yd\n  report note\n    say "y"\n',
        '  where not (b.pocket is cut and gap < 300yd)\n  report note\n    say "y"\n',
        '  where any o in beds (o.pocket is b.pocket)\n  where no o in beds (o.pocket is not b.pocket)\n  report note\n    say "y"\n',
        '  needs b.pocket.for\n  where b.pocket.for is not missing\n  report note when gap <= gap\n    say "y"\n',
        '  measure beds = count of o in beds (o.pocket is b.pocket)\n  where beds > 2\n  report note when beds < 4\n    say "y"\n',
        '  where gap * 2 > 300yd\n  report note when gap < room\n    say "y"\n',
        # what stands after `is` is a measure of the rule, and no word
        '  measure ends = b.pocket.for\n  where b.pocket.for is ends\n  where b.pocket.for is does\n  report note\n    say "y"\n',
        '  where b.pocket.for is does or missing\n  where b.pocket.for is bucks or missing\n  report note\n    say "y"\n',
    ],
)  # fmt: skip
def test_a_report_that_may_be_made_is_not(lines: str) -> None:
    assert never(only(NEAR + lines), WORDS) == []


def test_two_limits_of_one_figure_are_two() -> None:
    """Each may be set by itself: what is never reported as they stand may be so then."""
    far = NEAR.replace("  each", '  limit far 40yd  10yd..90yd  common-practice "the test\'s own"\n  each', 1)
    lines = '  report error when gap < room\n    say "x"\n  report warning when gap < far\n    say "y"\n'
    assert [(one.report, one.ever) for one in never(only(far + lines), WORDS)] == [(1, True)]


def test_two_rules_that_had_one_name_are_told() -> None:
    body = f'  formerly close\n{NEAR}  report warning when gap < room\n    say "x"\n'
    words = told(looked(rule(body), rule(body, "nearby")))
    assert [one for one in words if "both say `formerly close`" in one]


APART = (
    '  limit near 20yd  5yd..60yd  common-practice "own"\n  limit far 20yd  5yd..90yd  common-practice "own"\n'
    "  each b in beds, w in walks within 200yd of b\n  measure gap = distance(b, w)\n"
)


def test_two_limits_of_one_default_are_two_for_either_may_be_set() -> None:
    shut = '  report error when gap < near\n    say "x"\n  report warning when gap < far\n    say "y"\n'
    assert [(one.report, one.ever) for one in never(only(APART + shut), WORDS)] == [(1, True)]  # as they stand
    (words,) = told(looked(rule(APART + shut)), "reach")
    assert "warning this is not reported with its limits as they stand" in words
    more = '  report error when near > far\n    say "x"\n'
    assert [one.ever for one in never(only(APART + more), WORDS)] == [True]
    ways = '  where beside(w, near) < 9\n  where not beside(w, far) < 9\n  report note\n    say "y"\n'
    counted = ways.replace("beside(w, near) <", "count of o in beds within near of b (o.pocket is cut) <")
    counted = counted.replace("beside(w, far) <", "count of o in beds within far of b (o.pocket is cut) <")
    assert [one.ever for one in never(only(APART + counted), WORDS)] == [True]


@pytest.mark.parametrize(
    "lines",
    [
        "  each a in trees, b in trees within 9yd of a.stump\n  measure m = a.method\n  where b.method is m\n"
        "  where b.method is hinge\n",
        '  list ways = hinge girdle common-practice "own"\n  each m in ways, b in trees\n  where b.method is m\n'
        "  where b.method is hinge or girdle\n",
        "  each b in jobs\n  where b.species is white-oak\n  where b.species is red-maple or missing\n",
        "  each b in trees\n  where b.method is hinge or missing\n  where b.method is girdle or missing\n",
        "  each b in trees\n  where b.method is hinge or girdle\n  where b.method is not hinge\n",
    ],
    ids=["a measure", "a variable", "a list", "missing both times", "one of two"],
)
def test_words_that_may_meet_are_not_told_to_be_at_odds(lines: str) -> None:
    assert never(only(lines + '  report note\n    say "y"\n'), WORDS) == []


def test_what_is_missing_is_so_beside_a_word_too() -> None:
    """A pocket for bucks is neither; one that does not say for whom is missing."""

    def on(test: str) -> int:
        own = pack(rule(f'  each b in pockets\n  where b.for is {test}\n  report note\n    say "y"\n'))
        assert not own.slips
        plan = 'plan "P"\nboundary\n  outline 0,0 400,0 400,400 0,400\n'
        for name, more in (("a", ""), ("b", "  for does\n"), ("c", "  for bucks\n")):
            plan += f"pocket {name}\n  outline 0,0 90,0 90,90\n{more}"
        report = replace(SHIPPED, rulebook=Rulebook((own,))).check(Source("p.habitat", plan), Policy(date(2026, 2, 10)))
        return sum(one.rule == "own/near" for one in report.findings)

    assert [on(test) for test in ("missing", "does", "does or missing", "missing or does", "not missing")] == [
        1, 1, 2, 2, 2,
    ]  # fmt: skip


def test_a_word_that_a_property_never_has_is_told_with_those_it_may_have() -> None:
    body = '  each b in paths\n  where b.use is hinge\n  report note\n    say "x"\n'
    (words,) = told(looked(rule(body)), "text")
    assert words == (
        "r0.rules:4 error rule near: expected `corridor`, `entry`, `exit`, `travel` or `vehicle`, not `hinge`"
    )
    assert told(looked(rule(body.replace("hinge", "travel"))), "text") == []


def test_rules_that_cannot_both_be_kept_are_told() -> None:
    near = rule(NEAR + '  report warning when gap < room\n    say "near"\n')
    far = rule(NEAR.replace("room 40yd", "off 30yd") + '  report note when gap > off\n    say "far"\n', "far")
    clash = told(looked(near, far), "clash")
    assert len(clash) == 2 and "own/far" in clash[0] and "own/near" in clash[1]
    fits = far.replace("off 30yd", "off 60yd")
    assert told(looked(near, fits), "clash") == []
    others = far.replace("  report note", "  where b.pocket is cut\n  report note")
    assert len(told(looked(near, others), "clash")) == 2  # some of the same beds
    apart = near.replace("  report", "  where b.pocket is not core\n  report")
    assert told(looked(apart, others), "clash") == []  # perhaps none of them


def test_a_rule_against_one_that_ships_is_told() -> None:
    far = (
        'rule lane-by-pocket\n  title "T"\n  limit most 5yd  1yd..90yd  common-practice "the test\'s own"\n'
        "  each s in stands\n  measure gap = passes(s)\n"
    )
    far += '  report note when gap < most\n    say "{s}"\n  mark s\n  because "so"\n'
    # what ships wants a path within 10 yd of a stand
    (words,) = told(looked(far.replace("most 5yd", "most 50yd")), "clash")
    assert "entry/stand-not-reached" in words
    assert told(looked(far), "clash") == []


# -- what it says of others ------------------------------------------------------------------------------------


def test_what_changes_a_rule_that_is_left_is_told() -> None:
    head = HEAD + "  builds-on entry\n  leaves tops-on-entry\n  level tops-on-entry note\n"
    assert told(looked(head=head), "left") == [
        "pack.rules:5 warning tops-on-entry is left, so that this changes nothing"
    ]


def test_a_pack_that_lowers_a_rule_about_peoples_safety_is_told() -> None:
    head = HEAD + "  builds-on felling\n  level working-alone off\n"
    (words,) = told(looked(head=head), "safety")
    assert words.startswith("pack.rules:4 warning working-alone is about people's safety")


def test_a_rule_of_a_name_that_is_taken_is_told() -> None:
    body = NEAR + '  report warning when gap < room\n    say "near"\n'
    (words,) = told(looked(rule(body, "stand-not-reached")), "name")
    assert "plans must say own/stand-not-reached" in words


def test_a_pack_called_as_one_that_ships_is_told_and_looked_at_no_further() -> None:
    found = looked(head='pack entry\n  version "9"\n')
    assert [one.kind for one in found.remarks] == ["name"] and found.worst.name == "error"


def test_a_pack_without_a_head_is_told_how_to_write_one() -> None:
    read = READ(
        "own", [Source("own/a.rules", rule(NEAR + '  report warning when gap < room\n    say "n"\n', more=EXAMPLES))]
    )
    assert [one.kind for one in look(read, SHIPPED, WORDS).remarks] == ["head"]


# -- figures, mends, examples ----------------------------------------------------------------------------------


def test_a_figure_on_nobodys_word_is_told() -> None:
    bare = NEAR.replace(' "the test\'s own"', "")
    (words,) = told(looked(rule(bare + '  report warning when gap < room\n    say "n"\n', more=EXAMPLES)), "evidence")
    assert words.startswith("r0.rules:3 note the limit room is common practice on nobody's word")


def test_an_example_that_shows_something_else_is_told_on_its_own_line() -> None:
    body = NEAR + '  report warning when gap < room\n    say "n"\n'
    other = EXAMPLES.replace("measured 39 yd", "measured 12 yd")
    (words,) = told(looked(rule(body, more=other)), "example")
    assert words == "r0.rules:17 error measured 39 yd, not 12 yd"
    under = EXAMPLES.replace("        ^^^^^^ w", "    ^^^ w")
    (words,) = told(looked(rule(body, more=under)), "example")
    assert words.endswith("the carets stand under `bed`: put them under `120,39`")
    assert any("has no `kept` example" in one for one in told(looked(rule(body, more=EXAMPLES.split("kept")[0]))))


def test_a_level_or_a_figure_that_no_example_shows_is_told() -> None:
    body = NEAR + '  report error when gap < 5yd\n    say "e"\n  report warning when gap < room\n    say "n"\n'
    assert told(looked(rule(body, more=EXAMPLES)), "cover") == [
        "r0.rules:6 note no example shows the error that is reported here"
    ]
    far = EXAMPLES.replace("120,39", "120,21").replace("measured 39", "measured 21")
    body = NEAR + '  report warning when gap < room\n    say "n"\n'
    (words,) = told(looked(rule(body, more=far)), "cover")
    assert words.startswith("r0.rules:3 note no pair of examples stands just either side of room, 40 yd")


TREES = """rule stump-by-lane
  title "T"
  limit room 10yd  1yd..40yd  common-practice "the test's own"
  each t in trees, w in walks within room of t.stump
  measure gap = distance(t.stump, w)
  per t.block, w
  report warning when gap < room
    say "{t.block}"
  mark t.method
  because "so"
  mend "move them"
    move t.stumps clear of w
  mend "say how they fall"
    set t.fall N

broken
  path lane
    use entry
    line 0,0 100,0
  row few
    method fell
    ^^^^^^^^^^^ measured 9.5 yd
    stumps 10,9.5 50,9.5
    spacing 10
    fall N
    dbh 6in
kept
  path lane
    use entry
    line 0,0 100,0
  row few
    method fell
    stumps 10,10.5 50,10.5
    spacing 10
    fall N
    dbh 6in
"""


def test_a_mend_that_clears_no_example_is_told_with_what_it_failed_at() -> None:
    (words,) = told(looked(TREES), "mend")
    assert words.startswith("r0.rules:13 warning this mend clears none of the rule's broken examples (")
    assert told(looked(TREES.replace('  mend "say how they fall"\n    set t.fall N\n', "")), "mend") == []


def test_a_copied_rule_that_kept_its_name_is_told_with_the_place_of_the_first() -> None:
    body = rule(NEAR + '  report warning when gap < room\n    say "n"\n', more=EXAMPLES)
    (words,) = told(looked(body, body), "text")
    assert (
        words
        == "r1.rules:1 error rule near: the pack has a rule of that name (the first rule of that name: own/r0.rules:1)"
    )


def test_what_cannot_be_read_is_told_as_check_tells_it() -> None:
    found = looked(rule(NEAR.replace("beds", "bedds") + '  report note when gap < room\n    say "x"\n'))
    (words,) = told(found, "text")
    assert words.startswith("r0.rules:4 error rule near:") and words.endswith("did you mean `beds`?")
