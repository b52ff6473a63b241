"""The page as a text: whole in one file, escaped throughout, and the same words as everywhere."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable, Iterator
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.check import Report
from habitatlint.findings import Policy
from habitatlint.outputs import Style
from habitatlint.outputs.map.drawing import draw
from habitatlint.outputs.page import CAUTION, MOST_BLOCKS, MOST_FINDINGS, MOST_LINES, Assets, page, policy
from habitatlint.outputs.text import block
from habitatlint.review import Review
from habitatlint.source import Source

TODAY = date(2026, 2, 10)
PLAN = """\
plan "Two seats"
  date 2026-01-05
boundary
  outline 0,0 400,0 400,400 0,400
path lane "Lane"
  use entry
  line 0,20 300,20
stand seat "Seat"
  at 302,22
  reach lane
  winds W
row screen
  method hinge
  stumps 40,28 120,28
  spacing 20
  fall N
  dbh 8in
"""
#: what would run, style, close or turn something, were it not escaped
HOSTILE = (
    "</script><script>document.title='ran'</script><img src=x onerror=alert(1)>\\\" onload=\\\"alert(1) "
    "&lt;b&gt; ]]> --> \u202etxet \u2028 \x1b[31m </style><style>*{display:none}"
)


def assets() -> Assets:
    fonts = (files.asset(f"fonts/AtkinsonHyperlegibleNext-{weight}.woff2") for weight in ("Regular", "Bold"))
    return Assets(files.asset("page.css").decode(), files.asset("page.js").decode(), *fonts)


def page_of(report: Report, **how: object) -> str:
    return page(draw(report), assets(), today=TODAY, **how)  # type: ignore[arg-type]


class Read(HTMLParser):
    """The elements of a page, with their attributes; the words outside script and style; the data."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.inside: list[str] = []
        self.words: list[str] = []
        self.texts: dict[str, list[str]] = {"script": [], "style": []}
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag in self.texts:
            self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.inside and self.inside[-1] == tag:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        (self.texts[self.inside[-1]] if self.inside else self.words).append(data)

    def all(self, tag: str) -> Iterator[dict[str, str | None]]:
        return (attributes for name, attributes in self.elements if name == tag)

    @property
    def data(self) -> dict[str, object]:
        return json.loads(self.texts["script"][0])  # type: ignore[no-any-return]


def test_the_same_plan_makes_the_same_page(report_of: Callable[..., Report]) -> None:
    assert page_of(report_of(PLAN)) == page_of(report_of(PLAN))


def test_nothing_is_fetched_from_anywhere(report_of: Callable[..., Report]) -> None:
    read = Read(page_of(report_of(PLAN)))
    links = [
        (tag, name, value)
        for tag, attributes in read.elements
        for name, value in attributes.items()
        if name in ("src", "href", "xlink:href", "action", "srcset", "data", "poster", "background", "formaction")
    ]
    assert [link for link in links if not str(link[2]).startswith(("data:", "#"))] == []
    assert set(re.findall(r"url\(([a-z#]+)", "".join(read.texts["style"]))) <= {"data", "#scent"}


def test_the_policy_names_exactly_the_script_and_the_style_of_the_page(report_of: Callable[..., Report]) -> None:
    """W3C Content Security Policy Level 3, section 2.3: a hash-source is the digest of the element's text."""
    text = page_of(report_of(PLAN))
    read = Read(text)
    said = next(one["content"] for one in read.all("meta") if one.get("http-equiv") == "Content-Security-Policy")
    assert said == policy(assets())

    def digest(words: str) -> str:
        return f"'sha256-{base64.b64encode(hashlib.sha256(words.encode()).digest()).decode()}'"

    scripts = re.findall(r"<script>(.*?)</script>", text, re.S)
    styles = re.findall(r"<style>(.*?)</style>", text, re.S)
    assert len(scripts) == len(styles) == 1
    assert f"script-src {digest(scripts[0])};" in str(said)
    assert f"style-src {digest(styles[0])};" in str(said)
    assert "default-src 'none'" in str(said) and "unsafe" not in str(said) and "connect-src" not in str(said)


def test_only_a_page_that_is_watched_may_speak_and_only_to_its_server(report_of: Callable[..., Report]) -> None:
    read = Read(page_of(report_of(PLAN), live="7"))
    said = next(one["content"] for one in read.all("meta") if one.get("http-equiv") == "Content-Security-Policy")
    assert str(said).endswith("; connect-src 'self'")
    assert read.data["live"] == "7"


def test_no_element_styles_or_runs_anything_by_itself(report_of: Callable[..., Report]) -> None:
    read = Read(page_of(report_of(PLAN)))
    loud = [
        (tag, name) for tag, attributes in read.elements for name in attributes if name == "style" or name[:2] == "on"
    ]
    assert loud == []


@pytest.mark.parametrize(
    "plan",
    [
        f'plan "{HOSTILE}"\nboundary\n  outline 0,0 400,0 400,400 0,400\n',
        PLAN.replace('"Lane"', f'"{HOSTILE}"').replace('"Seat"', f'"{HOSTILE}"'),
        f"{PLAN}# {HOSTILE}\n",
        f"{PLAN}{HOSTILE}\n",
        f'{PLAN}waive felling-plan until 2026-12-31 because "{HOSTILE}"\n',
    ],
    ids=["title", "names", "comment", "line", "reason"],
)
def test_what_a_plan_says_stays_text(report_of: Callable[..., Report], plan: str) -> None:
    report = report_of(plan, name=f"{HOSTILE.replace('/', '')}.habitat")
    text = page_of(report, notice=HOSTILE)
    read, plain = Read(text), Read(page_of(report_of(PLAN)))
    assert [tag for tag, _ in read.elements].count("script") == [tag for tag, _ in plain.elements].count("script") == 2
    assert list(read.all("img")) == [] and len(read.texts["style"]) == 1
    assert {name for _, one in read.elements for name in one} <= {name for _, one in plain.elements for name in one} | {
        "title"
    }
    assert not set("\u202e\u2028\x1b") & set(text)
    assert "document.title='ran'" in "".join(read.words)


def test_findings_say_what_the_text_form_says(report_of: Callable[..., Report]) -> None:
    report = report_of(PLAN)
    assert report.findings
    words = " ".join(" ".join(Read(page_of(report)).words).split())
    for finding in report.findings:
        told = block(finding, report, Style())
        rows = re.findall(r"^    (measured|place|wanted|because|mend \d+) +(.*(?:\n {14}\S.*)*)", told, re.M)
        assert rows
        for word, said in rows:
            first = " ".join(said.split()).partition(";")[0].removesuffix("clears it").removesuffix("untried").strip()
            assert first in words, (word, first)


def test_every_line_of_the_plan_stands_there_once_and_in_order(report_of: Callable[..., Report]) -> None:
    text = page_of(report_of(PLAN))
    lines = re.findall(r'<li id="l0-(\d+)"><code>(.*?)</code>', text)
    assert [int(number) for number, _ in lines] == list(range(1, len(PLAN.split("\n")) + 1))
    assert [re.sub(r"<[^>]*>", "", line) for _, line in lines] == [
        line.replace('"', "&quot;") for line in PLAN.split("\n")
    ]


def test_line_ends_of_another_system_leave_no_trace(report_of: Callable[..., Report]) -> None:
    text = page_of(report_of(PLAN.replace("\n", "\r\n")))
    assert "?</code>" not in text and "?</span></code>" not in text


def test_each_finding_knows_its_lines_and_its_very_words(report_of: Callable[..., Report]) -> None:
    report = report_of(
        PLAN.replace('stand seat "Seat"', 'stand seat "\U0001f98c Seat"').replace("  at 302,22", "  at  900,22")
    )
    data = Read(page_of(report)).data
    marks = {one["number"]: one for one in data["findings"]}  # type: ignore[attr-defined]
    assert sorted(marks) == list(range(1, len(report.findings) + 1))
    for number, finding in enumerate(report.findings, 1):
        mark = marks[number]
        first = report.source.line(mark["first"]).encode("utf-16-le")
        assert finding.span.line == mark["first"]
        if mark["first"] == mark["last"] and mark["to"] is not None:
            assert first[2 * mark["from"] : 2 * mark["to"]].decode("utf-16-le") == finding.span.text


def test_a_finding_in_an_included_file_names_that_file_and_its_text_stands_there_too(
    review: Review, tmp_path: Path
) -> None:
    (tmp_path / "shared.habitat").write_text("stand far\n  at 900,900\n", encoding="utf-8")
    main = tmp_path / "main.habitat"
    main.write_text(f'{PLAN}include "shared.habitat"\n', encoding="utf-8")
    report = review.check(files.read_source(str(main)), Policy(TODAY))
    other = [finding for finding in report.findings if finding.span.source.name.endswith("shared.habitat")]
    assert other
    text = page_of(report)
    assert f"{other[0].span.source.name}, line {other[0].span.line}" in text
    assert '<li id="l1-1">' in text and f'data-to="l1-{other[0].span.line}"' in text


def test_a_wind_shows_ground_downwind_of_the_stand(report_of: Callable[..., Report]) -> None:
    """On a west wind scent goes east: the path lies to the right of the one for an east wind."""
    data = Read(page_of(report_of(PLAN))).data
    winds: dict[str, str] = data["winds"]  # type: ignore[assignment]
    assert len(winds) == 16

    def easternmost(path: str) -> float:
        return max(float(place.split()[0]) for place in re.findall(r"-?[\d.]+ -?[\d.]+", path))

    assert easternmost(winds["W"]) > easternmost(winds["E"])


def test_what_is_hushed_about_peoples_safety_is_shown(report_of: Callable[..., Report]) -> None:
    waived = next(rule for rule in report_of(PLAN).rules if rule.safety)
    text = page_of(report_of(f"{PLAN}level {waived.slug} off\n"))
    assert "people&#x27;s safety, switched off or lowered" in text and waived.slug in text
    assert CAUTION.replace("'", "&#x27;") in text


def test_the_head_says_what_it_is_of_what_day_and_what_was_read(report_of: Callable[..., Report]) -> None:
    def head(plan: str) -> str:
        return page_of(report_of(plan)).partition("<header>")[2].partition("</header>")[0]

    assert "A design, of 2026-01-05; judged by" in head(PLAN) and "as of 2026-02-10" in head(PLAN)
    assert "Read: 33.1 ac, 1 path (300 yd), 1 row, 5 trees" in head(PLAN)
    built = head(PLAN.replace("  date", '  drawn-by "the owner"\n  stage as-built\n  date'))
    assert "The ground as it was built, of 2026-01-05, drawn by the owner" in built


def test_the_legend_shows_only_what_is_on_the_map(report_of: Callable[..., Report]) -> None:
    legend = page_of(report_of(PLAN)).partition('<ul class="samples">')[2].partition("</ul>")[0]
    assert "property line" in legend and "stand" in legend and "scent" in legend
    assert "food plot" not in legend and "snag" not in legend


def test_a_plan_with_nothing_placed_says_so(report_of: Callable[..., Report]) -> None:
    text = page_of(report_of('plan "Bare"\n'))
    assert "Nothing of this plan has a place on the ground yet" in text
    assert Read(text).data["winds"] == {}


@pytest.mark.parametrize("size", [1, 30_000])
def test_a_property_of_a_metre_and_one_of_thirty_kilometres_fill_the_map(
    report_of: Callable[..., Report], size: int
) -> None:
    plan = f'plan "Size"\n  units m\nboundary\n  outline 0,0 {size},0 {size},{size} 0,{size}\n'
    window: dict[str, float] = Read(page_of(report_of(plan))).data["window"]  # type: ignore[assignment]
    assert 0.1 < size * 1000 / window["scale"] / window["width"] <= 1
    assert window["west"] < 0 < window["west"] + window["width"] * window["scale"] / 1000


def test_more_findings_than_can_be_read_are_counted(report_of: Callable[..., Report]) -> None:
    report = report_of(PLAN)
    many = report._replace(findings=report.findings * (MOST_FINDINGS // len(report.findings) + 1))
    text = page_of(many)
    assert text.count('<li class="finding') == MOST_FINDINGS
    assert f"{len(many.findings) - MOST_FINDINGS} more finding" in text


def test_a_notice_stands_above_all(report_of: Callable[..., Report]) -> None:
    text = page_of(report_of(PLAN), notice="the map is of 14:03:22: line 12 cannot be read yet")
    assert 0 < text.index("the map is of 14:03:22") < text.index('<section id="map"')


def test_of_a_file_too_long_to_be_read_the_lines_about_findings_stand_there(report_of: Callable[..., Report]) -> None:
    report = report_of(PLAN + "# a line\n" * MOST_LINES + "stand far\n  at 900,900\n")
    text = page_of(report)
    count = MOST_LINES + len(PLAN.split("\n")) + 2
    assert f"{count} lines; only those about findings stand here" in text
    shown = [int(number) for number in re.findall(r'<li data-number="(\d+)"', text)]
    left_out = sum(int(number) for number in re.findall(r"<code>(\d+) lines? left out", text))
    assert shown == sorted(shown) and {finding.span.line for finding in report.findings} <= set(shown)
    assert len(shown) + left_out == shown[-1] == count


def test_trees_too_many_to_be_named_are_drawn_together_and_the_page_says_so(report_of: Callable[..., Report]) -> None:
    rows = "".join(
        f"row r{row}\n  method fell\n  stumps {20 + row % 40 * 20},{10 + row // 40 * 10} {26 + row % 40 * 20},"
        f"{10 + row // 40 * 10}\n  spacing 3\n  fall N\n  dbh 3in\n  tree-height 15ft\n"
        for row in range(MOST_BLOCKS + 1)
    )
    report = report_of(f'plan "Many"\nboundary\n  outline 0,0 900,0 900,600 0,600\n{rows}')
    text = page_of(report)
    assert "Trees are too many to be named here" in text and "Stumps are too many for this page" in text
    drawn = text.partition('<section id="findings"')[0]
    assert ">r7<" not in drawn and "property line" in drawn and "felled tree" in drawn
    few = page_of(report_of(PLAN))
    assert "too many" not in few and 'data-block="screen"' in few


def test_twenty_thousand_trees_make_a_page_under_five_megabytes(review: Review) -> None:
    rows = "".join(
        f"row r{row}\n  method hinge\n  stumps {60 + row % 10 * 210},{40 + row // 10 * 105} "
        f"{258 + row % 10 * 210},{40 + row // 10 * 105}\n  spacing 2\n  fall N\n  dbh 7in\n  tree-height 40ft\n"
        for row in range(200)
    )
    plan = f'plan "Many"\nboundary\n  outline 0,0 2200,0 2200,2200 0,2200\n{rows}'
    report = review.check(Source("many.habitat", plan), Policy(TODAY))
    assert len(report.scene.trees) == 20_000
    assert len(page_of(report).encode()) < 5_000_000


def test_twenty_thousand_standing_trees_are_dots_and_the_page_says_so(review: Review) -> None:
    """Each by its own sign they make more than 5 MB, and a browser takes seconds over them."""
    rows = "".join(
        f"row r{row}\n  method frill\n  stumps 10,{10 + row * 20} 1990,{10 + row * 20}\n  count 200\n  dbh 7in\n"
        for row in range(100)
    )
    plan = f'plan "Many"\nboundary\n  outline 0,0 2200,0 2200,2200 0,2200\n{rows}'
    report = review.check(Source("many.habitat", plan), Policy(TODAY))
    assert len(report.scene.trees) == 20_000
    text = page_of(report)
    drawn = text.partition('<section id="findings"')[0]
    assert len(drawn.encode()) < 600_000 and "Trees that do not lie are too many for this page" in drawn
    assert "one of too many to be told apart" in drawn and "frilled" not in drawn
    assert 'data-block="r7"' in drawn  # still led to by its line
    few = review.check(Source("few.habitat", plan[: plan.index("row r3\n")]), Policy(TODAY))
    assert "frilled" in page_of(few) and "too many" not in page_of(few)
