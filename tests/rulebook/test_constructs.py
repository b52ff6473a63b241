"""The eleven constructs of the rule language, each on a plan small enough to work out by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Finding, Policy
from habitatlint.outputs.sentences import measured_and_wanted, message, worded
from habitatlint.review import Review, pack_reader
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import Pack, rule_grammar
from habitatlint.source import Source

SHIPPED = assembled()
READ = pack_reader(SHIPPED.plan_grammar, lambda: files.grammar("rules", rule_grammar))

PLAN = """\
plan "Small"
  hunted 2026-11-07..2027-01-18
boundary
  outline 0,0 400,0 400,400 0,400
pocket oak
  outline 50,50 150,50 150,100 50,100
  bed 60,60 90,60
pocket elm
  outline 200,50 260,50 260,100 200,100
path run
  use travel
  line 0,110 300,110
  from oak
path lane
  use entry
  line 0,20 400,20
food plot
  kind plot
  outline 300,200 380,200 380,260 300,260
row first
  in oak
  method hinge
  stumps 60,60 140,60
  spacing 20
  fall N
  dbh 8in
  step 1
row second
  method fell
  stumps 210,60 250,60
  spacing 20
  fall E
  dbh 6in..14in
crew ridge
  people 2
  gear hard-hat boots
work
  step 1 "Cut" 2026-02-15..2026-03-01 by ridge
  step 2 "Walk" 2026-06-01
"""

FRAME = '  title "A rule"\n  because "it is a test"\n'


def pack_of(body: str, slug: str = "a-rule") -> Pack:
    return READ("test", [Source("test/a-rule.rules", f"rule {slug}\n{FRAME}{body}")])


def found(body: str, plan: str = PLAN, today: date = date(2026, 2, 10)) -> list[Finding]:
    """What a rule of these lines finds; it must be sound."""
    pack = pack_of(body)
    assert [(slip.kind, slip.found, slip.why) for slip in pack.slips] == []
    review = Review(SHIPPED.plan_grammar, Rulebook((pack,)))
    return list(review.check(Source("small.habitat", plan), Policy(today)).findings)


def said(body: str, plan: str = PLAN, today: date = date(2026, 2, 10)) -> list[str]:
    return [message(finding, "yd") for finding in found(body, plan, today)]


def slips_of(body: str) -> list[str]:
    return [f"{slip.span.line} {slip.kind} {slip.found}: {slip.why}{slip.hint}" for slip in pack_of(body).slips]


# 1. each, pairs, bounds


def test_each_runs_over_every_block_noun_and_the_worked_out_plurals() -> None:
    for plural, count in {
        "pockets": 2, "paths": 2, "foods": 1, "rows": 2, "crews": 1, "steps": 2, "beds": 2, "trees": 8, "walks": 1,
        "cuts": 2, "boundaries": 1, "stands": 0, "inspections": 0,
    }.items():  # fmt: skip
        assert len(found(f'  each x in {plural}\n  report note say "{{x}}"\n')) == count, plural


def test_pairs_are_found_within_a_written_bound() -> None:
    body = '  limit near 25yd 1yd..50yd common-practice\n  each k in pockets, p in paths within near of k\n  report note say "{k} {p}"\n'
    assert said(body) == ["pocket oak path run", "pocket elm path run"]
    wider = body.replace("25yd 1yd", "30yd 1yd")
    assert len(said(wider)) == 4


def test_two_of_one_plural_give_each_pair_once() -> None:
    body = '  each a in pockets, b in pockets within 60yd of a\n  measure gap = distance(a, b)\n  report note say "{a} {b} {gap}"\n'
    assert said(body) == ["pocket oak pocket elm 50 yd"]


def test_a_bound_may_be_any_placed_field() -> None:
    body = '  each t in trees, p in paths within 3yd of t.top\n  where p.use is travel\n  report note say "{t}"\n'
    assert said(body) == []
    assert said(body.replace("3yd", "50yd")) != []


def test_without_each_a_rule_is_judged_once_for_the_plan() -> None:
    (finding,) = found(
        '  measure k = count of k in pockets\n  report note when k > 1\n  say "{k} pockets"\n  limit x 1 0..3 common-practice\n'
    )
    assert message(finding, "yd") == "2 pockets" and finding.names == frozenset()


def test_each_runs_over_the_values_of_a_field_and_over_a_list() -> None:
    body = '  each c in crews, g in c.gear\n  report note say "{g}"\n'
    assert sorted(said(body)) == ["boots", "hard-hat"]
    body = '  list needed = hard-hat gloves regulation "a clause"\n  each c in crews, n in needed\n  where no g in c.gear (g is n)\n  report error say "{c} has no {n}"\n'
    assert said(body) == ["crew ridge has no gloves"]


# 2. where, needs, is


def test_filters_may_repeat_and_words_are_those_of_the_plan() -> None:
    assert said(
        '  each p in paths\n  where p.use is travel or entry\n  where not p.use is entry\n  report note say "{p}"\n'
    ) == ["path run"]
    assert said('  each p in paths\n  where p.use is not travel\n  report note say "{p}"\n') == ["path lane"]


def test_what_is_needed_and_missing_is_told_as_not_judged() -> None:
    pack = pack_of('  each b in rows\n  needs b.step\n  report note say "{b}"\n')
    record = next(pack for pack in SHIPPED.rulebook.packs if pack.name == "record")
    review = Review(SHIPPED.plan_grammar, Rulebook((pack, record)))
    report = review.check(Source("small.habitat", PLAN), Policy(date(2026, 2, 10)))
    lines = [
        message(finding, "yd") for finding in report.findings if finding.rule in ("test/a-rule", "record/not-judged")
    ]
    assert "row first" in lines
    assert any("row second" in line and "step" in line and "a-rule" in line for line in lines)


def test_a_thing_is_compared_with_a_thing() -> None:
    assert said(
        '  each k in pockets, p in paths within 400yd of k\n  where p.from is k\n  report note say "{p} {k}"\n'
    ) == ["path run pocket oak"]


def test_missing_is_tested_by_name() -> None:
    assert said('  each b in rows\n  where b.step is missing\n  report note say "{b}"\n') == ["row second"]


# 3. measures, quantities


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("does or missing", ["pocket oak", "pocket elm"]), ("missing", ["pocket oak"]), ("not does or missing", []),
        ("bucks or missing", ["pocket oak"]), ("does", ["pocket elm"]), ("not missing", ["pocket elm"]),
    ],
)  # fmt: skip
def test_missing_may_stand_beside_words(words: str, wanted: list[str]) -> None:
    plan = PLAN.replace("pocket elm\n", "pocket elm\n  for does\n")
    body = f'  each k in pockets\n  where k.for is {words}\n  report note\n    say "{{k}}"\n  mark k.outline\n'
    assert said(body, plan) == wanted


def test_quantities_are_added_subtracted_and_multiplied() -> None:
    body = '  limit grace 10 days 1 days..30 days common-practice\n  each s in steps\n  report note when s.first + grace * 2 < today\n  say "{s}"\n'
    assert said(body, today=date(2026, 3, 7)) == []
    assert said(body, today=date(2026, 3, 8)) == ["step 1"]
    body = '  each k in pockets\n  measure side = length(k) - 2 * 50yd\n  report note when side > 130yd\n  say "{k} {side}"\n'
    assert said(body) == ["pocket oak 200 yd"]


def test_a_measure_has_its_place() -> None:
    (finding,) = found(
        '  each b in rows, w in walks within 100yd of b\n  where b.method is hinge\n  measure gap = distance(b, w)\n  report note when gap < 50yd say "{gap} at {gap.place}"\n'
    )
    assert message(finding, "yd") == "40 yd at 60,60"


# 4. reports


def test_the_first_true_report_wins_and_gives_measured_and_wanted() -> None:
    body = '  each b in rows\n  needs b.largest-dbh\n  report error when b.largest-dbh > 12in say "{b} is too big"\n  report note when b.largest-dbh > 7in say "{b} is big"\n'
    findings = found(body)
    assert [(message(f, "yd"), f.level.name, measured_and_wanted(f, "yd")) for f in findings] == [
        ("row first is big", "note", ("8 in", "7 in or less")),
        ("row second is too big", "error", ("14 in", "12 in or less")),
    ]


def test_groups_are_told_once_with_their_worst_and_counts() -> None:
    body = '  each t in trees, w in walks within 60yd of t.stump\n  measure gap = distance(t.stump, w)\n  per t.block, w\n  report note when gap < 50yd say "one" many "{count} of {all} near {w} of {t.block}"\n'
    assert said(body) == ["5 of 5 near entry path lane of row first", "3 of 3 near entry path lane of row second"]


def test_all_counts_those_that_are_not_at_fault_too() -> None:
    plan = PLAN.replace("line 0,20 400,20", "line 0,20 100,20")
    body = '  each t in trees, w in walks within 45yd of t.stump\n  measure gap = distance(t.stump, w)\n  per t.block, w\n  report note when gap < 41yd say "one" many "{count} of {all}"\n'
    assert said(body, plan) == ["3 of 5"]


# 5. quantifiers and aggregates


def test_no_any_and_every() -> None:
    for word, expected in {"any": ["pocket oak"], "no": ["pocket elm"], "every": ["pocket oak"]}.items():
        body = f'  each k in pockets\n  where {word} b in beds (b.pocket is k and distance(b, k) < 1yd)\n  report note say "{{k}}"\n'
        if word == "every":
            body = body.replace("b.pocket is k and ", "")
        assert said(body) == expected, word


def test_aggregates_of_nothing_are_missing() -> None:
    body = '  each k in pockets\n  measure near = smallest distance(k, s) for s in stands\n  where near is missing\n  report note say "{k}"\n'
    assert said(body) == ["pocket oak", "pocket elm"]


def test_count_share_smallest_largest_and_sum() -> None:
    body = (
        "  measure n = count of k in pockets (k.name is oak)\n  measure s = share of t in trees (t.method is hinge)\n"
        "  measure least = smallest area(k) for k in pockets\n  measure most = largest area(k) for k in pockets\n"
        '  measure whole = sum length(p) for p in paths\n  report note say "{n} {s} {least} {most} {whole}"\n'
    )
    assert said(body) == ["1 62.5% 0.6 ac 1 ac 700 yd"]


# 6. limits; 7. slips; 8. mends; 10. formerly; 11. safety


def test_a_limit_must_lie_in_its_range_and_have_evidence() -> None:
    assert slips_of('  limit near 25yd 1yd..20yd common-practice\n  report note say "x"\n') == [
        "4 bad-value near: the limit `25yd` lies outside its own range `1yd..20yd`"
    ]
    assert any(
        "evidence" in slip or "regulation" in slip
        for slip in slips_of('  limit near 25yd 1yd..50yd\n  report note say "x"\n')
    )


def test_windows_durations_and_today_are_limits_too() -> None:
    body = '  limit age 30 days 1 days..90 days common-practice\n  each s in steps\n  report note when s.last + age < today\n  say "{s}"\n'
    assert said(body, today=date(2026, 4, 1)) == ["step 1"]


def test_mends_are_shown_untried_and_advice_as_advice() -> None:
    body = '  each b in rows\n  where b.method is hinge\n  report note say "{b}"\n  mend "fell {b}"\n    set b.method fell\n  mend "leave it"\n'
    (finding,) = found(body)
    assert [(worded(mend.say, finding, "yd"), mend.proof) for mend in finding.mends] == [
        ("fell row first", "untried"),
        ("leave it", "advice"),
    ]


def test_a_mark_on_what_rows_share_stands_there_with_the_row_beside_it() -> None:
    plan = PLAN.replace("  dbh 8in\n", "").replace("  dbh 6in..14in\n", "") + "trees\n  dbh 14in\n"
    findings = found('  each b in rows\n  where b.method is hinge\n  report note say "{b}"\n  mark b.dbh\n', plan)
    assert findings[0].span.text == "dbh 14in"
    assert "row first" in findings[0].related[0].what


def test_a_rule_is_found_by_the_name_it_had() -> None:
    book = Rulebook((pack_of('  report note say "x"\n  formerly old-rule\n'),))
    assert book.find("old-rule") is book.find("a-rule") is book.find("test/a-rule")


def test_safety_is_kept_on_the_finding() -> None:
    (finding,) = found('  report note say "x"\n  safety\n')
    assert finding.safety


# what a pack is checked for before it runs


@pytest.mark.parametrize(
    ("body", "slip"),
    [
        ('  each t in treees\n  report note say "x"\n', "4 unknown-name treees: a plural such as `trees`, `walks` or `pockets`; did you mean `trees`?"),
        ('  each t in trees\n  where t.metod is hinge\n  report note say "x"\n', "did you mean `method`?"),
        ('  each t in trees\n  where t.method is hing\n  report note say "x"\n', "did you mean `hinge`?"),
        ('  each t in trees\n  measure g = distence(t, t)\n  report note say "x"\n', "did you mean `distance`?"),
        ('  each t in trees\n  report note when t.dbh < 20%\n  say "x"\n', "not a length and a share"),
        ('  each k in pockets\n  measure a = area(k) + 3yd\n  report note say "x"\n', "not an area and a length"),
        ('  each t in trees, w in walks\n  report note say "x"\n', "a bound for a pair"),
        ('  each t in trees\n  where t.method is hinge\n', "without it the rule finds nothing"),
        ('  report note say "{k.name}"\n', "a variable, a measure or a limit"),
        ('  report note say "x"\n  report error say "y"\n', "so this one never is"),
        ('  each t in trees\n  report note say "x"\n  mend "m"\n    set t.metod fell\n', "did you mean `method`?"),
        ('  each t in trees\n  report note say "x"\n  mend "m"\n    add opning "x"\n', "did you mean `opening`?"),
        ('  each c in cuts\n  report note say "x"\n  mend "m"\n    turn c.step to c.later-step\n', "did you mean `later-steps`?"),
        ('  each t in trees\n  measure g = side(t)\n  report note say "x"\n', "side(trees, walks)"),
        ('  each t in trees\n  wher t.method is hinge\n  report note say "x"\n', "did you mean `where`?"),
    ],
)  # fmt: skip
def test_a_pack_is_told_its_faults_with_line_and_suggestion(body: str, slip: str) -> None:
    told = slips_of(body)
    assert any(slip in one for one in told), told
    assert pack_of(body).rules == ()


def test_every_broken_line_of_a_pack_is_told_once() -> None:
    told = slips_of(
        '  each t on trees\n  wher t.method is hinge\n  limit near 5yd 1yd..9yd hearsay\n  report note say "x"\n'
    )
    assert [line.split()[0] for line in told] == ["4", "5", "6"]


def test_a_stranger_adds_a_rule_by_one_text_file(tmp_path: object, report_of: Callable[..., object]) -> None:
    """A consultant's own rule: a folder, one file, one line in the plan."""

    folder = Path(str(tmp_path))
    (folder / "packs" / "creek").mkdir(parents=True)
    (folder / "packs" / "creek" / "bed-by-lane.rules").write_text(
        "rule bed-by-lane\n"
        '  title "Bed close to the lane"\n'
        "  limit room 60yd 20yd..200yd common-practice\n"
        "  each b in beds, w in walks within room of b\n"
        "  measure gap = distance(b, w)\n"
        '  report warning when gap < room say "{b} lies too near {w}"\n'
        '  because "a deer that hears the walk is gone before the hunter sits"\n',
        encoding="utf-8",
    )
    plan = folder / "own.habitat"
    plan.write_text(PLAN + '\nuse pack "packs/creek"\nset bed-by-lane.room 50yd\n', encoding="utf-8")
    review = assembled()
    report = review.check(files.read_source(str(plan)), Policy(date(2026, 2, 10)))
    told = [message(f, "yd") for f in report.findings if f.rule == "creek/bed-by-lane"]
    assert told == ["bed 1 of oak lies too near entry path lane", "bed 2 of oak lies too near entry path lane"]


def test_what_is_missing_is_asked_for_by_that_word_alone() -> None:
    for word in ("none", "no", "empty", "given"):
        assert any(
            "`missing`" in slip
            for slip in slips_of(f'  each k in pockets\n  where k.why is {word}\n  report note say "x"\n')
        )


def test_one_slip_is_told_once() -> None:
    assert (
        len(
            slips_of('  each t in treees\n  where t.dbh > 8in\n  measure g = distance(t, t)\n  report note say "{t}"\n')
        )
        == 1
    )
    assert (
        len(slips_of('  limit room 40\n  each s in stands, b in beds within room of s\n  report note say "x"\n')) == 1
    )


def test_evidence_above_common_practice_names_its_source() -> None:
    assert any("source" in slip for slip in slips_of('  limit room 40yd 1yd..90yd journal\n  report note say "x"\n'))


def test_words_with_a_brace_left_open_are_told_on_their_own_line() -> None:
    told = slips_of('  each s in stands\n  report note\n  say "{s too near"\n')
    assert any(slip.startswith("6 syntax") for slip in told), told


def test_a_pack_may_leave_and_change_rules_of_another() -> None:
    base = READ("base", [Source("base/one.rules", f'rule one\n{FRAME}  limit n 1yd 0yd..9yd common-practice\n  report note say "one"\n'),
                         Source("base/two.rules", f'rule two\n{FRAME}  report note say "two"\n')])  # fmt: skip
    own = READ(
        "own",
        [
            Source(
                "own/pack.rules",
                'pack own "Own"\n  version "1"\n  builds-on base\n  leaves two\n  set one.n 2yd\n  level one error\n  leaves tow\n  set one.n 12yd\n',
            )
        ],
    )
    book = Rulebook((base, own))
    assert [rule.name for rule in book.rules] == ["base/one"]
    assert book.changed_limits["base/one.n"].value == pytest.approx(2 * 0.9144)
    assert book.changed_levels["base/one"].name == "error"
    told = [(slip.kind, slip.found, slip.hint) for slip in book.faults(own)]
    assert ("unknown-name", "tow", "; did you mean `two`?") in told and any(kind == "bad-value" for kind, _, _ in told)
    taking = READ("taking", [Source("t/pack.rules", "pack taking\n  builds-on base\n  takes two\n")])
    assert [rule.name for rule in Rulebook((base, taking)).rules] == ["base/two"]


def test_faults_of_a_used_pack_stand_in_its_file_and_its_rule_is_left_out(tmp_path: Path) -> None:
    (tmp_path / "packs").mkdir()
    (tmp_path / "packs" / "bad.rules").write_text(
        'rule bad\n  title "Bad"\n  because "x"\n  each t in treees\n  report note say "x"\n', encoding="utf-8"
    )
    plan = tmp_path / "own.habitat"
    plan.write_text(PLAN + '\nuse pack "packs"\nuse pack "nowhere"\n', encoding="utf-8")
    report = assembled().check(files.read_source(str(plan)), Policy(date(2026, 2, 10)))
    told = [
        (f.span.source.name.rpartition("/")[2], f.span.line, message(f, "yd"))
        for f in report.findings
        if f.rule == "record/pack-trouble"
    ]
    assert (
        "bad.rules",
        4,
        "rule bad: expected a plural such as `trees`, `walks` or `pockets`, not `treees`; did you mean `trees`?",
    ) in told
    assert any("there is no such folder" in words for _, _, words in told)


def test_figures_in_every_word_of_a_finding_are_in_the_unit_of_the_plan() -> None:
    body = (
        "  each k in pockets, p in paths within 400yd of k\n  where p.use is travel and p.from is k\n"
        '  measure gap = distance(k, p)\n  report note say "{gap}"\n  mend "move it {gap}"\n'
    )
    pack = READ("test", [Source("test/a.rules", f'rule a\n  title "A"\n  because "it is {{gap}} off"\n{body}')])
    assert pack.slips == ()
    plan = PLAN.replace('plan "Small"', 'plan "Small"\n  units ft')
    (finding,) = (
        Review(SHIPPED.plan_grammar, Rulebook((pack,)))
        .check(Source("x.habitat", plan), Policy(date(2026, 2, 10)))
        .findings
    )
    words = [worded(text, finding, "ft") for text in (finding.say, finding.because, finding.mends[0].say)]
    assert words == ["10 ft", "it is 10 ft off", "move it 10 ft"]


def test_a_name_that_because_does_not_know_is_told() -> None:
    pack = READ("test", [Source("test/a.rules", 'rule a\n  title "A"\n  because "so {k} is"\n  report note say "x"\n')])
    assert [(slip.kind, slip.found) for slip in pack.slips] == [("unknown-name", "k")]
