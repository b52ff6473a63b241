"""A pack builds on others: it takes rules, leaves them, changes figures and levels, and puts one in another's place."""

from __future__ import annotations

from datetime import date

from habitatlint.cli.assembly import pack_texts_reader
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Level, Policy
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import Pack
from habitatlint.source import Source

SHIPPED = assembled()
READ = pack_texts_reader(SHIPPED)


def rule(slug: str, more: str = "") -> Source:
    return Source(
        f"packs/{slug}.rules",
        f'rule {slug}\n  title "T"\n  limit size 2ac  1ac..9ac  common-practice\n  each k in pockets\n'
        f'  measure ground = area(k)\n  report error when ground < size\n    say "{slug} of {{k}}"\n  because "so"\n{more}',
    )


def pack(name: str, lines: str = "", *rules: Source) -> Pack:
    read = READ(name, [Source(f"packs/{name}/pack.rules", f'pack {name}\n  version "1.0"\n{lines}'), *rules])
    assert not read.slips, read.slips
    return read


BASE = pack("base", "", rule("one"), rule("two"), rule("three"))


def found(book: Rulebook, more: str = "") -> list[tuple[str, Level]]:
    text = f'plan "P"\nboundary\n  outline 0,0 400,0 400,400 0,400\npocket oak\n  outline 0,0 50,0 50,90 0,90\n{more}'
    report = Review(SHIPPED.plan_grammar, book).check(Source("a.habitat", text), Policy(date(2026, 2, 10)))
    return [(finding.rule, finding.level) for finding in report.findings]


def test_what_is_taken_is_all_that_is_left_of_the_pack_below() -> None:
    assert found(Rulebook((BASE, pack("own", "  builds-on base\n  takes one three\n")))) == [
        ("base/one", Level.error), ("base/three", Level.error),
    ]  # fmt: skip


def test_what_is_left_is_judged_no_more() -> None:
    assert found(Rulebook((BASE, pack("own", "  builds-on base\n  leaves two\n")))) == [
        ("base/one", Level.error), ("base/three", Level.error),
    ]  # fmt: skip


def test_a_figure_and_a_level_are_the_packs_until_a_plan_gives_its_own() -> None:
    # the pocket has 4500 square yards, 0.93 ac
    own = pack("own", "  builds-on base\n  takes one\n  set one.size 1ac\n  level one warning\n")
    book = Rulebook((BASE, own))
    assert found(book) == [("base/one", Level.warning)]
    assert found(book, "level one note\n") == [("base/one", Level.note)]
    off = pack("other", "  builds-on base\n  level one off\n")
    assert found(Rulebook((BASE, own, off))) == []  # of two that speak of one rule the later counts


def test_of_three_packs_one_on_another_each_changes_the_one_below() -> None:
    middle = pack("middle", "  builds-on base\n  leaves two three\n", rule("four"))
    top = pack("top", "  builds-on middle\n  leaves four\n  builds-on base\n  level one note\n")
    assert found(Rulebook((BASE, middle, top))) == [("base/one", Level.note)]


def test_a_rule_in_the_place_of_a_left_one_answers_to_its_name() -> None:
    own = pack("own", "  builds-on base\n  leaves two\n", rule("acres", "  formerly two\n"))
    book = Rulebook((BASE, own))
    assert [name for name, _ in found(book)] == ["base/one", "base/three", "own/acres"]
    new = book.find("two")
    assert new is not None and new.name == "own/acres"
    assert found(book, "level two note\n")[-1] == ("own/acres", Level.note)
    assert len(found(book, "set two.size 1ac\nlevel one off\nlevel three off\n")) == 1
    waived = 'waive two on oak until 2027-01-01 because "small by the line"\n'
    assert [name for name, _ in found(book, waived)] == ["base/one", "base/three"]
    left = book.find("base/two")
    assert left is not None and left.name == "base/two"


def test_a_rule_that_was_renamed_twice_answers_to_its_first_name() -> None:
    middle = pack("middle", "  builds-on base\n  leaves two\n", rule("acres", "  formerly two\n"))
    top = pack("top", "  builds-on middle\n  leaves acres\n", rule("ground", "  formerly acres\n"))
    book = Rulebook((BASE, middle, top))
    for name in ("two", "acres", "ground"):
        now = book.find(name)
        assert now is not None and now.name == "top/ground"


def test_a_pack_taken_in_twice_is_one_and_another_of_its_name_is_told() -> None:
    again = pack("base", "", rule("one"), rule("two"), rule("three"))
    book = Rulebook((BASE,))
    assert book.in_the_way(again) == "" and len(book.with_packs([again]).packs) == 1
    other = pack("base", "", rule("one"))
    assert "give this one another name" in book.in_the_way(other)


def test_a_renamed_rule_answers_to_its_old_name_with_its_pack_before_it_too() -> None:
    book = Rulebook((pack("own", "", rule("acres", "  formerly two\n")),))
    assert [name for name, _ in found(book)] == ["own/acres"]
    for name in ("two", "own/two"):
        assert found(book, f"level {name} note\n") == [("own/acres", Level.note)]
        assert found(book, f'waive {name} on oak until 2027-01-01 because "small by the line"\n') == []
        assert found(book, f"set {name}.size 1ac\nlevel {name} off\n") == []
        assert book.now_called(name) == "own/acres"
    assert [book.now_called(name) for name in ("own/acres", "own/no")] == ["", ""]
    # a rule of another pack only if that one builds on it: an unrelated pack may call another rule so
    assert book.now_called("base/two") == ""
    over = pack("own", "  builds-on base\n", rule("acres", "  formerly two\n"))
    assert Rulebook((over,)).now_called("base/two") == "own/acres"


def test_a_rule_of_another_pack_is_known_by_its_old_name_only_in_one_that_builds_on_that_pack() -> None:
    acres = rule("acres", "  formerly two\n")
    assert Rulebook((pack("own", "", acres),)).now_called("base/two") == ""
    # the pack below may be gone, and another pack may have a rule of that name, or one that was called so
    own, other = pack("own", "  builds-on base\n", acres), pack("y", "", rule("pond", "  formerly two\n"))
    for packs in ((own,), (own, other), (own, pack("z", "", rule("two")))):
        assert Rulebook(packs).now_called("base/two") == "own/acres"
    middle = pack("middle", "  builds-on base\n  leaves two\n", acres)
    top = pack("top", "  builds-on middle\n  leaves acres\n", rule("ground", "  formerly acres\n"))
    assert Rulebook((BASE, middle, top)).now_called("base/two") == "top/ground"


def test_two_rules_that_were_called_alike_are_told() -> None:
    own = pack("own", "", rule("acres", "  formerly two\n"), rule("ground", "  formerly two\n"))
    (slip,) = Rulebook((own,)).faults(own)
    assert (slip.span.source.name, slip.found) == ("packs/ground.rules", "two")
    assert slip.why == "acres and ground both say `formerly two`: take that line off one of them"


def test_a_circle_of_packs_is_told_where_it_is() -> None:
    a, b, c, d = (pack(name, f"  builds-on {on}\n") for name, on in ("ab", "bc", "ca", "da"))
    book = Rulebook((a, b, c, d))
    told = [(slip.span.source.name, slip.span.line, slip.why) for slip in book.faults(b)]
    assert told == [
        ("packs/b/pack.rules", 3, "a circle: b builds on c, c builds on a, a builds on b; take one of these "
         "`builds-on` away")
    ]  # fmt: skip
    assert list(book.faults(d)) == []  # it stands on a circle, and in none
    alone = pack("s", "  builds-on s\n")
    assert [slip.why for slip in Rulebook((alone,)).faults(alone)] == [
        "a pack cannot build on itself: take its name off this line"
    ]


def test_a_pack_that_takes_and_leaves_one_rule_is_told() -> None:
    own = pack("own", "  builds-on base\n  takes one two\n  leaves two\n")
    assert [slip.why for slip in Rulebook((BASE, own)).faults(own)] == ["the pack takes this rule, and leaves it too"]


def test_a_pack_is_called_as_its_head_says_wherever_it_is_kept() -> None:
    read = READ("creek-bottoms-1.2.0", [rule("one"), Source("p/pack.rules", 'pack creek-bottoms "Creeks"\n')])
    assert read.name == "creek-bottoms" and read.rules[0].name == "creek-bottoms/one"


def test_a_pack_with_two_heads_is_told() -> None:
    read = READ("a", [Source("p/a.rules", "pack a\n"), Source("p/b.rules", "pack b\n")])
    assert [(slip.kind, slip.span.source.name) for slip in read.slips] == [("name-used-twice", "p/b.rules")]
