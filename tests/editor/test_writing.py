"""What is known of a word, what may be written at a place, and names: without the protocol."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.editor import completing, knowing, names, outline, rulefiles
from habitatlint.editor.desk import Desk
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import PlanText
from habitatlint.measures import every_measure
from habitatlint.review import Review
from habitatlint.rulebook.rules import EXAMPLES, PACK_WORDS, RULE_WORDS
from habitatlint.source import Source

PLAN = """plan "Lane"
  units yd
food clover
  kind plot
  outline 0,200 100,200 100,260 0,260
pocket thicket "The thicket"
  outline 0,100 110,100 110,200 0,200
  why "so that does stay"
path lane "South lane"
  use entry
  line 0,0 300,0
path run
  use travel
  line 0,90 110,90
path back
  use exit
  line 0,0 0,-200
row cover
  in thicket
  method hinge
  stumps 10,150 90,150
  spacing 10
  fall away from lane
crew hands
  people 2
stand corner
  at 300,5
  |
waive live-hinge-near-entry on cover until 2027-01-01 because "kept"
"""
NAME = "/plans/lane.habitat"


class Writer:
    """A plan with a place marked `|` in it, as it is written."""

    def __init__(self, review: Review, text: str) -> None:
        self.offset = text.index("|")
        self.text = text.replace("|", "")
        self.review = review
        self.plan: PlanText = Desk(review).read(Source(NAME, self.text))

    def offered(self) -> list[str]:
        book, grammar = self.review.rulebook, self.review.plan_grammar
        return [one.text for one in completing.offers(self.plan, NAME, self.text, self.offset, grammar, book)]

    def known(self) -> str:
        found = knowing.known_at(self.plan, lambda: Scene(self.plan), NAME, self.offset, self.review.plan_grammar,
                                 self.review.rulebook)  # fmt: skip
        return found.text if found else ""


@pytest.fixture
def writing(review: Review):  # type: ignore[no-untyped-def]
    """A writer at the stand's next line, by what is written there; or anywhere by old and new text."""
    return lambda line, old="  |", text=PLAN: Writer(review, text.replace("  |", "  height 18ft").replace("  height 18ft" if old == "  |" else old, line))  # fmt: skip


@pytest.mark.parametrize(
    ("line", "first", "never"),
    [
        ("  reach |", ["lane"], ["run", "thicket", "corner"]),
        ("  leave |", ["back", "lane"], ["run"]),
        ("  by |", ["hands"], ["lane"]),
        ("  sit |", ["all", "evening", "morning"], ["lane"]),
        ("  at |", ["back", "cover", "lane", "run"], ["hands", "evening"]),
        ("  winds N |", ["E", "ENE"], ["N", "lane"]),
        ("  |", ["by", "done"], ["at", "outline"]),
        ("  note \"reach |", [], ["lane"]),
        ("  # reach |", [], ["lane"]),
    ],
)  # fmt: skip
def test_only_what_fits_is_offered(writing, line: str, first: list[str], never: list[str]) -> None:  # type: ignore[no-untyped-def]
    offered = writing(line).offered()
    assert offered[: len(first)] == first
    assert not set(never) & set(offered)
    assert first or not offered


@pytest.mark.parametrize(
    ("old", "line", "wanted"),
    [
        ("  fall away from lane", "  fall |", {"along", "against", "away", "toward", "N"}),
        ("  fall away from lane", "  fall along |", {"lane", "run", "back"}),
        ("  fall away from lane", "  fall away |", {"from"}),
        ("  fall away from lane", "  fall away from |", {"thicket", "clover", "corner"}),
        ("  in thicket", "  in |", {"thicket"}),
        ("  in thicket", "  mix |", set()),
        ("  in thicket", "  species |", {"red-maple", "white-oak"}),
        ("  stumps 10,150 90,150", "  stumps beside |", {"lane", "run"}),
        ("  stumps 10,150 90,150", "  stumps beside lane |", {"left", "right"}),
        ("  line 0,90 110,90", "  line 0,90 110,90\n  from |", {"thicket"}),
        ("  line 0,90 110,90", "  line 0,90 110,90\n  to |", {"clover"}),
        ("crew hands", "level |", {"core-bedding"}),
        ("crew hands", "level core-bedding |", {"error", "warning", "note", "off"}),
        ("crew hands", "set |", {"live-hinge-near-entry.clearance"}),
        ("crew hands", "waive core-bedding on |", {"thicket"}),
        ("crew hands", "waive core-bedding |", {"on", "until"}),
        ("crew hands", "cr|", {"crew", "core", "waive"}),
    ],
)
def test_words_and_names_are_offered_where_the_grammar_lets_them(
    writing, old: str, line: str, wanted: set[str]
) -> None:  # type: ignore[no-untyped-def]
    offered = set(writing(line, old).offered())
    assert wanted <= offered
    assert wanted or not offered
    assert "lane" not in offered or "lane" in wanted or "stumps" in line or "fall" in line or "on |" in line


HELD = completing.Packs(
    ["my old packs/creek", "packs/creek", "ridge-1.0.pack"], ["old-fields"], {"packs/creek": "1.4.2", "x": "2"}.get
)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("use |", ["pack"]),
        ("use pack |", ['"my old packs/creek"', '"packs/creek"', '"ridge-1.0.pack"', "old-fields"]),
        ("use pack ol|", ['"my old packs/creek"', '"packs/creek"', '"ridge-1.0.pack"', "old-fields"]),
        ('use pack "|', ['my old packs/creek"', 'packs/creek"', 'ridge-1.0.pack"']),
        ('use pack "packs/c|"', ["my old packs/creek", "packs/creek", "ridge-1.0.pack"]),
        # behind a blank an editor puts what is offered in the place of the last piece alone
        ('use pack "my |', ['old packs/creek"']),
        ('use pack "my old pa|"', ["packs/creek"]),
        ('use pack "no such |', []),
        ('use pack "packs/creek" |', ["version"]),
        ('use pack "packs/creek" version |', ['"1.4"', '"1.4.."', '"1.4.2"']),
        ('use pack "packs/creek" version "1|"', ["1.4", "1.4..", "1.4.2"]),
        ("use pack x version |", ['"2"', '"2.."']),
        ('use pack "nowhere" version "|', []),
        ('note "use pack |', []),
        ('# use pack "|', []),
    ],
)
def test_packs_that_a_plan_may_take_in_are_offered_with_their_versions(
    review: Review, line: str, wanted: list[str]
) -> None:
    text = PLAN.replace("  |", "").replace("crew hands", f"{line}\ncrew hands")
    offset = text.index("|")
    text = text.replace("|", "")
    plan = Desk(review).read(Source(NAME, text))
    held = completing.Packs(HELD.paths, HELD.installed, lambda name: HELD.version_of(name) or "")
    found = completing.offers(plan, NAME, text, offset, review.plan_grammar, review.rulebook, lambda: held)
    assert [one.text for one in found] == wanted


def test_a_path_with_a_blank_is_completed_from_where_it_stands(review: Review) -> None:
    """What is offered takes the place of the last word that is written."""
    text = PLAN.replace("  |", "").replace("crew hands", 'use pack "river bo|"\ncrew hands')
    offset, text = text.index("|"), text.replace("|", "")
    plan = Desk(review).read(Source(NAME, text))
    held = completing.Packs(("river bottoms", "packs/creek"), (), lambda name: "")
    found = completing.offers(plan, NAME, text, offset, review.plan_grammar, review.rulebook, lambda: held)
    assert [one.text for one in found] == ["bottoms"]


def test_packs_are_looked_for_beside_the_plan_and_a_folder_below(review: Review, tmp_path: Path) -> None:
    for folder in ("creek", "packs/ridge", "packs/empty", ".git/hooks", "a/b/too-deep", 'a/qu"ote'):
        (tmp_path / folder).mkdir(parents=True)
        if "empty" not in folder:
            (tmp_path / folder / "pack.rules").write_text('pack ridge\n  version "1.2.0"\n', encoding="utf-8")
    (tmp_path / "packs" / "old-1.0.pack").write_bytes(b"")
    (tmp_path / "stray.rules").write_text("", encoding="utf-8")
    packs = Desk(review).packs_near(str(tmp_path / "farm.habitat"))
    assert packs.paths == ["creek", "packs/old-1.0.pack", "packs/ridge"]
    assert packs.version_of("packs/ridge") == "1.2.0"
    assert packs.version_of("packs/old-1.0.pack") == "" == packs.version_of("nowhere")
    assert list(Desk(review).packs_near("untitled:1").paths) == []
    assert files.packs_beside(str(tmp_path / "no-such-folder")) == []


def test_no_more_of_a_folder_is_looked_at_than_an_editor_can_wait_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(30):
        (tmp_path / f"{number}.pack").write_bytes(b"")
    monkeypatch.setattr(files, "MOST_ENTRIES", 10)
    assert len(files.packs_beside(str(tmp_path))) == 10


def test_what_a_block_must_have_is_offered_first(writing) -> None:  # type: ignore[no-untyped-def]
    assert writing("path new\n  |", "crew hands").offered()[:2] == ["line", "use"]


@pytest.mark.parametrize(
    ("old", "marked", "words"),
    [
        ("path lane", "path la|ne", ["path lane", "South lane", "300 yd", "90 deg"]),
        ("  fall away from lane", "  fall away from la|ne", ["path lane", "300 yd"]),
        ("pocket thicket", "pocket thick|et", ["2.27 ac", "9 trees", "tops over", "so that does stay"]),
        ("row cover", "row cov|er", ["80 yd", "9 trees"]),
        ("row cover", "ro|w cover", ["**row**", "`stumps`"]),
        ("  use exit", "  us|e exit", ["who goes there", "`entry`", "must be there"]),
        ("waive live", "waive li|ve", ["entry/live-hinge-near-entry", "clearance: 20 yd", "because"]),
    ],
)
def test_hover_tells_what_a_word_is(writing, old: str, marked: str, words: list[str]) -> None:  # type: ignore[no-untyped-def]
    known = writing(marked, old).known()
    assert [word for word in words if word not in known] == []


def test_every_place_of_a_plan_can_be_asked(review: Review) -> None:
    text = PLAN.replace("  |", "  reach nowhere\n  sit\n")
    plan = Desk(review).read(Source(NAME, text))
    scene, grammar, book = Scene(plan), review.plan_grammar, review.rulebook
    told = 0
    for offset in range(len(text) + 1):
        told += knowing.known_at(plan, lambda: scene, NAME, offset, grammar, book) is not None
        completing.offers(plan, NAME, text, offset, grammar, book)
    assert told > len(text) // 2


def test_a_name_is_renamed_wherever_it_stands(review: Review) -> None:
    text = PLAN.replace("  |", "  reach lane")
    plan = Desk(review).read(Source(NAME, text))
    for name, count in (("lane", 3), ("thicket", 2), ("cover", 2)):
        spans = names.renamed(plan, name, "other")
        assert len(spans) == count
        assert {span.text for span in spans} == {name}


@pytest.mark.parametrize("new", ["South", "two words", "from", "run", "", "1st", "a--b"])
def test_a_name_that_cannot_be_is_refused_with_why(review: Review, new: str) -> None:
    plan = Desk(review).read(Source(NAME, PLAN.replace("  |", "  reach lane")))
    with pytest.raises(names.Unnamed) as told:
        names.renamed(plan, "lane", new)
    assert f"`{new}`" in str(told.value)


def test_no_name_is_renamed_on_a_line_that_cannot_be_read(review: Review) -> None:
    plan = Desk(review).read(Source(NAME, PLAN.replace("  |", "  reach lane or so, perhaps")))
    with pytest.raises(names.Unnamed, match="line 28"):
        names.renamed(plan, "lane", "other")


def test_names_are_as_the_grammar_has_them() -> None:
    written = re.search(r"^NAME: /(.*)/ _END$", files.grammar_texts()["values"], re.MULTILINE)
    assert written and written[1] == names.NAME.pattern


def test_sizes_stand_beside_the_lines_that_say_them(review: Review) -> None:
    text = PLAN.replace("  |", "")
    plan = Desk(review).read(Source(NAME, text))
    found = {
        text[: one.offset].rpartition("\n")[2]: one.text for one in outline.sizes(plan, Scene(plan), NAME, 0, len(text))
    }
    assert found["  line 0,0 300,0"] == "300 yd"
    assert found["  stumps 10,150 90,150"] == "80 yd, 9 trees"
    assert found["  outline 0,200 100,200 100,260 0,260"] == "1.24 ac"


def test_comments_and_blocks_fold_and_links_lead(review: Review) -> None:
    text = '# one\n# two\nplan "P"\n  picture "aerial.png"\ninclude "sub/crews.habitat"\nuse pack "packs/own"\n'
    plan = Desk(review).read(Source(NAME, text))
    folds = outline.folds(plan.source, outline.block_lines(plan, NAME))
    assert [(one.first, one.last, one.comment) for one in folds] == [(0, 1, True), (2, 3, False)]
    assert [link.path for link in outline.links(plan, NAME)] == [
        "/plans/aerial.png", "/plans/sub/crews.habitat", "/plans/packs/own",
    ]  # fmt: skip


# -- files of rules ------------------------------------------------------------------------------------------

RULE = """rule near
  title "Too near"
  limit clearance 20yd 5yd..60yd common-practice
  each t in trees, w in walks within clearance of t.fallen
  where t.method is hinge
  measure gap = distance(t.fallen, w)
  report error when gap < clearance say "near"
  because "so"

broken
  path lane
    use entry
    line 0,0 100,0
"""


def rule_offers(review: Review, old: str, new: str) -> list[str]:
    text = RULE.replace(old, new)
    desk = Desk(review)
    grammars = desk.rule_grammar(), review.plan_grammar
    source = Source("/r/near.rules", text.replace("|", ""))
    return [
        one.text for one in rulefiles.rule_offers(source, text.index("|"), every_measure(), grammars, review.rulebook)
    ]


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("  where t.method is hinge", "  wh|", {"where", "mend", "per"}),
        ("t.method is hinge", "t.|", {"t.method", "t.fallen", "t.live"}),
        ("t.method is hinge", "t is |", {"live", "treated", "missing"}),
        ("distance(t.fallen, w)", "|", {"distance", "side", "roof"}),
        ("each t in trees", "each t in |", {"trees", "pockets", "walks"}),
        ("common-practice", "|", {"regulation", "common-practice"}),
        ("    use entry", "    use |", {"entry", "travel"}),
        ("    use entry", "    |", {"use", "width"}),
        ("broken", "br|", {"broken", "kept", "rule"}),
    ],
)
def test_rules_are_completed_by_what_they_may_name(review: Review, old: str, new: str, wanted: set[str]) -> None:
    assert wanted <= set(rule_offers(review, old, new))


@pytest.mark.parametrize(
    ("line", "first", "others"),
    [
        ("builds-on |", [], {"entry", "felling"}),
        ("builds-on nowhere |", [], set()),
        ("takes |", ["edge-cover-near-entry"], {"live-hinge-near-entry"}),
        ("takes edge-cover-near-entry |", ["entry-across-travel"], {"live-hinge-near-entry"}),
        ("leaves li|", ["edge-cover-near-entry"], {"live-hinge-near-entry"}),
        ("level |", ["edge-cover-near-entry"], {"live-hinge-near-entry", "core-bedding"}),
        ("level core-bedding |", ["error", "note", "off", "warning"], set()),
        ("set |", [], {"live-hinge-near-entry.clearance", "far-from-corridor.far"}),
        ("set live-hinge-near-entry.|", [], {"live-hinge-near-entry.clearance"}),
        ('about "takes |', [], set()),
    ],
)
def test_a_pack_is_completed_by_the_packs_in_force_and_their_rules(
    review: Review, line: str, first: list[str], others: set[str]
) -> None:
    found = rule_offers(review, RULE, f'pack own "Own"\n  builds-on entry\n  {line}\n')
    assert found[: len(first)] == first and others <= set(found)
    assert bool(found) is bool(first or others)
    assert not {"plan", "own"} & set(found)


def test_a_pack_is_built_on_by_the_version_it_has(review: Review) -> None:
    version = next(pack.version for pack in review.rulebook.packs if pack.name == "entry")
    assert version and rule_offers(review, RULE, "pack own\n  builds-on entry |\n")[-1] == f'"{version}"'


def test_only_rules_of_what_a_pack_builds_on_are_offered_to_take(review: Review) -> None:
    found = rule_offers(review, RULE, "pack own\n  builds-on entry\n  takes |\n")
    assert set(found) == {rule.slug for rule in review.rulebook.rules if rule.pack == "entry"}


@pytest.mark.parametrize(
    ("word", "wanted"),
    [
        ("distance", "`20yd`"),
        ("trees", "`stump`"),
        ("t.fallen", "shape"),
        ("where", "must be so"),
        ("report", "level"),
    ],
)
def test_hover_in_a_rule_tells_measures_with_their_units(review: Review, word: str, wanted: str) -> None:
    source = Source("/r/near.rules", RULE)
    known = rulefiles.known_at(source, RULE.index(word) + 1, every_measure(), review.rulebook)
    assert known is not None and known.span.text == word
    assert wanted in known.text


def test_every_word_of_the_rule_language_is_explained() -> None:
    assert set(rulefiles.RULE_LINES) == RULE_WORDS
    assert set(rulefiles.PACK_LINES) == PACK_WORDS
    assert set(rulefiles.HEADS) == {"rule", "pack", *EXAMPLES}
