"""Bad input as people write it: each slip is told once, at its place, in words of the language."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.outputs.sentences import message

Slips = Callable[..., list[str]]

POCKET = "pocket west\n  outline 0,0 40,0 40,40\n"
PATH = "path lane\n  use entry\n  line 0,0 100,0\n"


@pytest.fixture
def slips(report_of: Callable[..., Report]) -> Slips:
    """The slips of reading and naming in a text, a line each: `line:column slug: message`."""

    def lines(text: str, **how: object) -> list[str]:
        report = report_of(text, **how)
        return [
            f"{finding.span.line}:{finding.span.column} {finding.rule.split('/')[1]}: {message(finding, report.units)}"
            for finding in report.findings
            if finding.firm and finding.rule != "record/not-judged"
        ]

    return lines


def outline(written: str) -> str:
    return f"pocket west\n  outline {written}\n"


def row(line: str) -> str:
    """A row whose fourth or fifth line is the one given; it has what else a row must have."""
    method = "" if line.startswith("method") else "  method hinge\n"
    spacing = "" if line.startswith(("spacing", "count")) else "  spacing 10\n"
    return f"row cover\n  stumps 10,5 90,5\n{method}{spacing}  {line}\n"


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("9999999,0 1,0 1,1", "2:11 bad-value: `9999999` is out of range: numbers go up to a million"),
        ("1e5,0 1,0 1,1", "2:11 syntax: expected a number in plain digits, not `1e5,0`"),
        ("inf,0 1,1 2,2", "2:11 syntax: expected a number in plain digits, not `inf,0`"),
        ("nan,nan 1,1 2,0", "2:11 syntax: expected a number in plain digits, not `nan,nan`"),
        ("0,0 40,0 ١٢,٤٥", "2:20 syntax: expected digits from 0 to 9, not `١٢,٤٥`"),
        ("0,0 40,0 12,٤٥", "2:20 syntax: expected digits from 0 to 9, not `12,٤٥`"),
        ("−4,0 40,0 40,40", "2:11 syntax: expected a plain hyphen `-` for the minus, not `−4,0`"),
        (
            "0, 0 40,0 40,40",
            "2:11 syntax: expected a point without a blank after its comma, such as `120,45`, not `0,`",
        ),
        ("0,0 40.,0 40,40", "2:15 syntax: expected a digit before and after the decimal point, not `40.,0`"),
        ("0,0,0 40,0 4,4", "2:11 syntax: expected a point such as `120,45` (east, a comma, north), not `0,0,0`"),
        ("40 40,0 40,40", "2:11 syntax: expected a point such as `120,45` (east, a comma, north), not `40`"),
        (
            "0,0 40,0 40,40 ok",
            "2:28 syntax: expected how far along `ok` it is, such as `ok 40yd`, not the end of the line",
        ),
        ("", "2:10 syntax: expected a point such as `120,45`, `around`, `beside` or `from`, not the end of the line"),
        ("from 0,0 then N45 40", "2:25 syntax: expected a bearing with its `E` or `W`, such as `N45E`, not `N45`"),
        ("from 0,0 then 45 40", "2:25 syntax: expected the bearing as `45deg`, not `45`"),
        ("from 0,0 then n45e 40", "2:25 syntax: expected the bearing in capitals, `N45E`, not `n45e`"),
        ("0,0 40,40 40,0 0,40", "2:3 crossed-outline: the outline of pocket west crosses itself at 20,20"),
        ("0,0 40,0", "2:3 open-outline: pocket west cannot be drawn: an outline needs three points; this one has 2"),
        (
            "0,0 40,0 80,0",
            "2:3 open-outline: pocket west cannot be drawn: its points lie on one line and enclose nothing",
        ),
        ("0,0 40,0 40,0 40,40", "2:20 bad-value: this point repeats the one before it"),
        ("0,0 0,0 40,0 40,0 40,40", "2:15 bad-value: this point repeats the one before it, and so do 1 more"),
        ("0,0 0,0 0,0", "2:3 open-outline: pocket west cannot be drawn: an outline needs three points; this one has 1"),
        ("43.7N,90.6W 43.7N,90.5W 43.6N,90.5W", "2:11 bad-value: a point in degrees needs `anchor` in the plan's head"),
        ("around west 12", "1:1 bad-value: the place of `west` leads back to itself"),
        (
            "around lane 12",
            "2:18 unknown-name: nothing that fits here is called `lane`: `around` takes the name of a thing that has a place",
        ),
        ("beside lane 12yd", "2:23 bad-value: expected `left` or `right`, not `12yd`"),
    ],
)
def test_an_outline_with_a_slip_is_told_once_at_its_place(slips: Slips, written: str, told: str) -> None:
    assert slips(outline(written)) == [told]


def test_an_outline_that_ends_where_it_began_is_no_slip(slips: Slips) -> None:
    assert slips(outline("0,0 40,0 40,40 0,0")) == []


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (
            "spacing 20yards",
            "4:11 syntax: expected a length in `yd`, `ft`, `in`, `m` or `cm`, such as `20yd`, not `20yards`",
        ),
        ("spacing 20 yards", "4:14 syntax: expected the unit as `yd`, not `yards`"),
        (
            "spacing 20%",
            "4:11 bad-value: expected a number or a length with its unit such as `20yd` or `8in`, not `20%`",
        ),
        ("spacing -5", "4:11 bad-value: `-5` is less than nothing"),
        ("spacing 0.01", "4:3 bad-value: trees stand 0.3 yd apart or more"),
        ("spacing 0", "4:11 bad-value: `0` is nothing: a spacing is more"),
        ("count 2.5", "4:3 bad-value: a count is a whole number, one or more"),
        ("count 99999999", "4:9 bad-value: `99999999` is out of range: numbers go up to a million"),
        (
            "dbh 8",
            "5:7 bad-value: expected a length with its unit such as `20yd` or `8in` or a range such as `6in..10in`, not `8`",
        ),
        ('dbh 8"', '5:7 syntax: expected a length in `yd`, `ft`, `in`, `m` or `cm`, such as `20yd`, not `8"`'),
        ("dbh 10in..6in", "5:7 bad-value: `10in..6in` is upside down: the smaller end comes first"),
        ("dbh 6in..10", "5:7 bad-value: `6in..10` needs one unit for both ends, as in `6in..10in`"),
        ("dbh 6..10", "5:7 bad-value: `6..10` needs a unit of length, as in `6in..10in`"),
        ("dbh -8in", "5:7 bad-value: `-8in` is less than nothing"),
        ("crown-ratio 400%", "5:15 bad-value: `400%` is more than the whole: at most `100%`"),
        ("dbh 6in to 9in", "5:11 syntax: expected `6in..9in`, not `to`"),
        ("dbh 6 to 9in", "5:7 syntax: expected `6..9in`, not `6`"),
        ("tree-height 20ft - 30ft", "5:20 syntax: expected `20ft..30ft`, not `-`"),
        ("crown width 9ft", "5:3 unknown-word: `crown width` is not a word known here; did you mean `crown-width`?"),
        ("tree height 9ft", "5:3 unknown-word: `tree height` is not a word known here; did you mean `tree-height`?"),
        ("purpose screen edge", "5:18 syntax: `edge` does not belong here: nothing more stands on this line"),
        (
            "state down dbh 8in",
            "5:14 syntax: expected `dbh` on a line of its own, indented below the first line of its block, "
            "not behind other words",
        ),
        ("fall 180", "5:8 syntax: expected the bearing as `180deg`, not `180`"),
        ("fall N95E", "5:8 bad-value: `N95E` is no bearing: a quadrant has 90 degrees, a degree 60 minutes"),
        ("fall 400deg", "5:8 bad-value: `400deg` is out of range: a bearing goes from 0 to 360 degrees"),
        ("fall nw", "5:8 syntax: expected the bearing as `NW`, not `nw`"),
        ("fall south", "5:8 syntax: expected the bearing as `S`, not `south`"),
        ("done 2026-02-30", "5:8 bad-value: there is no day `2026-02-30`"),
        ("done 02/10/2026", "5:8 syntax: expected a date such as `2026-02-10` or `yes`, not `02/10/2026`"),
        ("method hing", "4:10 unknown-word: `hing` is not a word known here; did you mean `hinge`?"),
        ("method Hinge", "4:10 syntax: expected `hinge`, not `Hinge`"),
        (
            "species Red-Maple",
            "5:11 syntax: expected a name in lower-case words with hyphens, such as `red-maple`, not `Red-Maple`",
        ),
        ('why "open', "5:7 syntax: expected a closing quotation mark after these words, not the end of the line"),
        ("why open", '5:7 syntax: expected words in double quotes such as `"South lane"`, not `open`'),
        ("dbh: 8in", "5:3 unknown-word: `dbh:` is not a word known here; did you mean `dbh`?"),
        ("in nowhere", "5:6 unknown-name: nothing that fits here is called `nowhere`: `in` takes the name of a pocket"),
    ],
)
def test_a_property_with_a_slip_is_told_once_at_its_place(slips: Slips, line: str, told: str) -> None:
    assert slips(row(line)) == [told]


def test_what_may_stand_on_a_line_is_said_whole(slips: Slips) -> None:
    (told,) = slips("place gate\n  at 0,0\n  !!!\n")
    assert told == (
        "3:3 unknown-word: `!!!` is not a word known here; expected a property of a place: "
        "`at`, `by`, `done`, `kind`, `note`, `offsite`, `step` or `why`"
    )


def test_a_species_that_nobody_knows(told: Callable[..., list[str]]) -> None:
    say = "no published curve of height and crown is known for"
    for species, hint in (("moon-tree", ""), ("red-mapel", "; did you mean `red-maple`?"),
                          ("red maple", "; did you mean `red-maple`?")):  # fmt: skip
        found = [line for line in told(row(f"species {species}")) if "unknown-species" in line]
        assert found == [f"5:11 unknown-species: {say} `{species.split()[0]}`{hint}"]


@pytest.mark.parametrize(
    ("head", "told"),
    [
        ("pokcet west", "1:1 unknown-word: `pokcet` is not a word known here; did you mean `pocket`?"),
        ("rwo west", "1:1 unknown-word: `rwo` is not a word known here; did you mean `row`?"),
        ("Pocket west", "1:1 unknown-word: `Pocket` is not a word known here; did you mean `pocket`?"),
        (
            "pocket West Side",
            "1:8 syntax: expected a name in lower-case words with hyphens, such as `west`, not `West`",
        ),
        (
            "pocket west side",
            "1:13 syntax: expected a name in one word, such as `west-side`, or a title in double quotes, not `side`",
        ),
        (
            'pocket west "Side',
            "1:13 syntax: expected a closing quotation mark after these words, not the end of the line",
        ),
        (
            "pocket west “Side”",
            '1:13 syntax: expected words in plain double quotes such as `"South lane"`, not `“Side”`',
        ),
        ("pocket wést", "1:8 syntax: expected a name in lower-case words with hyphens, such as `west`, not `wést`"),
        ("pocket\u00a0west", "1:7 syntax: expected a plain blank, not another kind of blank"),
        (
            "pocket \u202ewest",
            "1:8 syntax: expected a name in lower-case words with hyphens, such as `west`, not `?west`",
        ),
    ],
)
def test_a_broken_head_is_told_once_and_its_name_raises_nothing_more(slips: Slips, head: str, told: str) -> None:
    body = "  bed 1,1\n" if "rwo" not in head else "  spacing 3\n"
    name = "west-side" if "ide" in head and "“" not in head and '"' not in head else "west"
    text = f"{head}\n{body}row cover\n  in {name}\n  method hinge\n  stumps 10,5 90,5\n  spacing 10\n"
    waiver = f'waive live-hinge-near-entry on {name} until 2027-01-01 because "x"\n'
    assert slips(text + waiver) == [told]


def test_a_property_at_the_margin_counts_as_given(slips: Slips) -> None:
    assert slips("pocket west\noutline 0,0 40,0 40,40\n") == [
        "2:1 syntax: expected `outline` indented below the first line of its block, not at the left margin"
    ]


def test_a_misspelt_or_broken_property_counts_as_given(slips: Slips) -> None:
    assert slips("pocket west\n  outlin 0,0 40,0 40,40\n") == [
        "2:3 unknown-word: `outlin` is not a word known here; did you mean `outline`?"
    ]
    assert len(slips("pocket west\n  outline 0,0 40 40,40\n")) == 1
    assert len(slips("row cover\n  method hinge\n  stumps 10,5 90,5\n  spacing: 10\n")) == 1


def test_a_broken_line_is_not_told_again_as_not_judged(told: Callable[..., list[str]]) -> None:
    broken = told(row("dbh 8"))
    assert [line for line in broken if "`dbh`" in line] == []
    assert [line for line in told(row("purpose bedding")) if "no `dbh` is given" in line] != []


def test_an_indented_noun_begins_its_block_all_the_same(slips: Slips) -> None:
    expected = "expected `row` at the left margin, where a block begins, not indented"
    body = "    method hinge\n    stumps 10,5 90,5\n    spacing 10\n"
    assert slips(f"{POCKET}  row cover\n{body}") == [f"3:3 syntax: {expected}"]
    assert slips(f"  row cover\n{body}{POCKET}") == [f"1:3 syntax: {expected}"]


def test_text_before_the_first_block(slips: Slips) -> None:
    begins = "a word that begins a block (`pocket`, `path`, `row` and others)"
    assert slips('Dear owner,\nplan "X"\n', fragment=False) == [
        f"1:1 unknown-word: `Dear` is not a word known here; expected {begins}"
    ]
    assert slips('  for does\nplan "X"\n', fragment=False) == [
        f"1:3 syntax: expected {begins} at the left margin before anything else, not `for`"
    ]


def test_a_file_without_a_head(slips: Slips) -> None:
    needs = 'needs a head that begins it: `plan "TITLE"`'
    assert slips("", fragment=False) == [f"1:1 missing-property: this file, which is empty, {needs}"]
    assert slips("\n \n", fragment=False) == [f"1:1 missing-property: this file, which is empty, {needs}"]
    assert slips(POCKET, fragment=False) == [f"1:1 missing-property: this file {needs}"]
    assert slips("plan X\n" + POCKET, fragment=False) == [
        '1:6 syntax: expected words in double quotes such as `"South lane"`, not `X`'
    ]


def test_a_head_that_stands_late_or_twice(slips: Slips) -> None:
    assert slips(POCKET + 'plan "A"\n') == [
        "3:1 syntax: expected the head `plan` before every other block, not after one"
    ]
    assert slips('plan "A"\nplan "B"\n' + POCKET) == [
        "2:1 name-used-twice: `plan` stands here a second time: a plan has one head"
    ]


def test_a_name_or_a_property_that_stands_twice(slips: Slips) -> None:
    assert slips(POCKET + "place west\n  at 0,0\n") == [
        "3:7 name-used-twice: `west` stands here a second time: it names a pocket already"
    ]
    assert slips(PATH + "  width 2\n  width 3\n") == [
        "5:3 name-used-twice: `width` stands here a second time: a path has one"
    ]


def test_tabs_and_blanks(slips: Slips) -> None:
    assert slips(POCKET.replace("  ", "\t") + "\tfor does\n") == []
    assert slips(POCKET.replace("  ", "\t") + "        for does\n") == [
        "3:9 mixed-indent: `for` is not indented like the lines above it"
    ]


def test_windows_line_ends_move_no_place(slips: Slips) -> None:
    text = POCKET + "  foo\n"
    assert slips(text.replace("\n", "\r\n")) == slips(text) != []
    (told,) = slips(POCKET.replace("\n", "\r"))
    assert told.startswith("1:12 syntax: expected line ends of LF or CRLF")


def test_misspelt_rules_and_limits(slips: Slips) -> None:
    fits = "nothing that fits here is called"
    assert slips("level live-hinge-near-entyr note\n") == [
        f"1:7 unknown-name: {fits} `live-hinge-near-entyr`: `level` takes the name of a rule; "
        "did you mean `live-hinge-near-entry`?"
    ]
    assert slips("set live-hinge-near-entry.clearence 25yd\n") == [
        f"1:5 unknown-name: {fits} `clearence`: live-hinge-near-entry has no such limit; did you mean `clearance`?"
    ]
    assert slips("set live-hinge-near-entry.clearance 25 yards\n") == [
        "1:40 syntax: expected the unit as `yd`, not `yards`"
    ]
    assert slips("set live-hinge-near-entry.clearance\n") == [
        "1:36 syntax: expected a value such as `25yd`, `25%` or `110 sqft/ac`, not the end of the line"
    ]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (
            "level unknown-word off",
            "1:7 bad-value: the level of `unknown-word` cannot be changed: it tells of slips of writing and naming",
        ),
        (
            'waive unknown-word on west until 2027-01-01 because "x"',
            "1:1 waiver-idle: the waiver of unknown-word on west matches no finding; "
            "slips of writing and naming cannot be waived",
        ),
    ],
)
def test_slips_of_reading_are_neither_waived_nor_lowered(slips: Slips, line: str, told: str) -> None:
    found = slips(f"{line}\npocket west\n  outlin 0,0 1,1\n")
    assert found[0] == told
    assert len(found) == 2 and found[1].startswith("3:3 unknown-word")


def test_things_that_have_no_place(slips: Slips) -> None:
    thicket = "row thicket\n  method hinge\n  stumps 0,0 9,0\n  spacing 3\n"
    text = f'{thicket}  fall toward walk-it\ntask walk-it\n  text "walk it"\n'
    assert slips(text) == ["5:15 bad-value: `walk-it` has no place of its own in the plan"]
    text = f"{thicket}tree t\n  of thicket 9\n  state down\n"
    assert slips(text) == ["6:3 bad-value: row thicket has 4 trees, and no tree 9"]
    assert slips(f"{thicket}tree t\n  of thicket 0\n  state down\n") == [
        "6:14 bad-value: the trees of a row are numbered 1, 2, 3 and so on"
    ]
    assert slips(PATH + "place gate\n  at lane 120\n") == [
        "5:6 bad-value: 120 yd along is not on a way that is 100 yd long"
    ]


def test_points_far_from_the_anchor(slips: Slips) -> None:
    text = 'plan "X"\n  anchor 43.7N,90.6W\nplace gate\n  at {}\n'
    assert slips(text.format("43.701N,90.601W"), fragment=False) == []
    assert slips(text.format("10.7N,90.6E"), fragment=False) == [
        "4:6 bad-value: this point is too far from the plan's anchor"
    ]
    (told,) = slips(text.format("43.7N, 90.6W"), fragment=False)
    assert told.startswith("4:6 syntax: expected an earth point such as `43.7120N,90.6210W`, without a blank")


@pytest.mark.parametrize(
    ("written", "unit"), [("yards", "yd"), ("feet", "ft"), ("foot", "ft"), ("meters", "m"), ("metres", "m")]
)
def test_units_written_out(slips: Slips, written: str, unit: str) -> None:
    assert slips(f'plan "X"\n  units {written}\n') == [
        f"2:9 unknown-word: `{written}` is not a word known here; did you mean `{unit}`?"
    ]


def test_two_words_that_together_are_a_property(slips: Slips) -> None:
    woods = "timber woods\n  outline 0,0 40,0 40,40\n"
    assert slips(f"{woods}  basal area 90 sqft/ac\n") == [
        "3:3 unknown-word: `basal area` is not a word known here; did you mean `basal-area`?"
    ]


def test_a_property_beside_the_head(slips: Slips) -> None:
    assert slips("path lane from gate\n  use entry\n  line 0,0 100,0\n") == [
        "1:11 syntax: expected `from` on a line of its own, indented below the first line of its block, "
        "not behind other words"
    ]


def test_hunted_takes_a_season_by_dates_or_each_year(slips: Slips) -> None:
    assert slips('plan "X"\n  hunted 2026-11-07..2027-01-18\n  hunted 11-07..01-18\n') == []
    assert slips('plan "X"\n  hunted 11-31..01-18\n') == ["2:10 bad-value: there is no day `11-31` in any year"]


def test_a_release_upside_down(slips: Slips) -> None:
    release = "release over\n  outline 0,0 40,0 40,40\n  basal-area {}\n"
    assert slips(release.format("110 to 50 sqft/ac")) == []
    assert slips(release.format("60 to 120 sqft/ac")) == [
        "3:20 bad-value: `120 sqft/ac` is more than the `60` there was: a release leaves less"
    ]
    assert slips(release.format("110 sqft/ac to 20 sqm/ha")) == []
    assert len(slips(release.format("60 sqft/ac to 20 sqm/ha"))) == 1  # 20 sq m a hectare are 87 sq ft an acre


def test_a_second_boundary_and_a_parcel_drawn_twice(slips: Slips) -> None:
    first, far = "boundary\n  outline 0,0 100,0 100,100 0,100\n", "outline 300,0 400,0 400,100 300,100"
    food = "food clover\n  outline 310,10 350,10 350,50\n"
    assert slips(f"{first}boundary\n  {far}\n{food}") == [
        "3:1 name-used-twice: `boundary` stands here a second time: "
        "a plan has one boundary, and each further parcel is one more `outline` in it"
    ]
    assert slips(f"{first}  {far}\n  {far}\n{food}") == [
        "4:3 name-used-twice: `outline` stands here a second time: it is a parcel that stands above"
    ]
    assert slips(f"{first}  {far}\n{food}") == []


def test_one_tree_of_a_row_is_told_of_once(slips: Slips) -> None:
    thicket = "row thicket\n  method hinge\n  stumps 0,0 9,0\n  spacing 3\n"
    tree = "tree {}\n  of thicket 3\n  state down\n"
    assert slips(thicket + tree.format("a") + tree.format("b")) == [
        "9:3 name-used-twice: `of thicket 3` stands here a second time: it is tree a already"
    ]
    assert slips(thicket + tree.format("a") + "  at 500,500\n") == [
        "8:3 bad-value: `of` puts this tree where its row lays it, so it has no `at` of its own"
    ]


def test_a_piece_beside_a_path_ends_where_the_path_does(slips: Slips) -> None:
    screen = PATH + "row screen\n  method fell\n  spacing 5\n  stumps beside lane left 12 from 20 to {}\n"
    assert slips(screen.format("100")) == []
    assert slips(screen.format("900")) == ["7:41 bad-value: 900 yd along is not on a way that is 100 yd long"]


def test_magnetic_bearings_need_a_declination_or_what_it_is_worked_out_from(slips: Slips) -> None:
    head, needs = 'plan "X"\n  north magnetic\n', "plan needs `declination` such as `2.5W`"
    anchor, date = "  anchor 43.7120N,90.6210W\n", "  date 2026-02-10\n"
    for lines in ("", anchor, date, "  declination computed\n", "  declination computed\n" + date):
        (told,) = slips(head + lines)
        assert "missing-property: " + needs in told
    for lines in ("  declination 2.5W\n", anchor + date, "  declination computed\n" + anchor + date):
        assert slips(head + lines) == []
    (told,) = slips(head + "  date 2026-02-30\n" + anchor)
    assert told == "3:8 bad-value: there is no day `2026-02-30`"


def test_a_broken_step_raises_nothing_about_other_lines(slips: Slips, told: Callable[..., list[str]]) -> None:
    work = 'work\n  step 1 "Hinge" 2026-13-01\n  step 2 "Walk it"\n'
    one = row("step 1")
    assert [line for line in told(work + one) if "work-without-step" in line] == []
    assert [line for line in told(work.replace("-13-", "-03-") + one) if "step-without-work" in line] != []
    assert [line for line in told(work.replace("-13-", "-03-") + row("step two")) if "step-without-work" in line] == []


def test_a_fall_toward_what_is_not_there_is_not_told_again(told: Callable[..., list[str]]) -> None:
    run = "path run\n  use travel\n  line 0,20 100,20\n"
    missing = [line for line in told(run + row("dbh 8in")) if "no `fall` is given" in line]
    assert len(missing) == 1
    unknown = told(run + row("fall toward nowhere"))
    assert len([line for line in unknown if "unknown-name" in line]) == 1
    assert [line for line in unknown if "`fall`" in line] == []


def test_hints_for_unknown_names_are_given_for_the_first_thirty(slips: Slips) -> None:
    stands = "".join(f"stand s{index}\n  at 0,0\n  reach lame\n" for index in range(40))
    told = [line for line in slips(PATH + stands) if "unknown-name" in line]
    assert len(told) == 40
    assert ["did you mean `lane`?" in line for line in told] == [True] * 30 + [False] * 10


def test_every_broken_line_of_a_text_is_told_in_one_run(slips: Slips) -> None:
    text = (
        'plan "X"\n  stage desing\n  units yards\n  date 2026-02-30\n  hunted 2027-01-18..2026-11-07\n  leaf-out 02-30\n'
        "winds n\n  from NW 120% 9mph\n  from XX 10% 3mph\n  from N 10%\n  from N 10% 9\n  calm 6\n"
    )
    told = slips(text, fragment=False)
    assert [line.split(" ")[0] for line in told] == [
        "2:9", "3:9", "4:8", "5:10", "6:12", "8:11", "9:8", "10:13", "11:14", "12:8",
    ]  # fmt: skip
    assert not any(word in line for line in told for word in ("NAME", "_NL", "LENGTH", "$END", "WIND", "token"))
