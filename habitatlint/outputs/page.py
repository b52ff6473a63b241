"""The plan as one page for a browser: map, findings and the plan's own text, each leading to the others.

The page is whole in one file and asks nothing of any network. All that comes of a plan is escaped, and a
content security policy (https://www.w3.org/TR/CSP3/) lets nothing run or style but this package's own script
and style, each named by its SHA-256. Only a page of the watch server speaks to anyone: to that server.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from shapely import get_parts, multilinestrings, multipoints, multipolygons, union_all
from shapely.geometry import GeometryCollection, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.check import Report
from habitatlint.findings import Level
from habitatlint.language.highlight import highlighted
from habitatlint.measures.scent import bearings, ground_reached
from habitatlint.measures.winds import WINDS
from habitatlint.outputs.map.drawing import LAYERS, Drawing, Layer, Mark, Numbered
from habitatlint.outputs.map.picture import Picture
from habitatlint.outputs.map.signs import SIGNS
from habitatlint.outputs.map.svg import EDGE, Frame, frame, swatch
from habitatlint.outputs.map.window import Window
from habitatlint.outputs.sentences import CAUTION, at, clean, message, related_line, rows
from habitatlint.outputs.text import overview, safety
from habitatlint.source import Source, Span
from habitatlint.units import UNITS

#: the longer side of the map at its natural size, in millimetres, and the ground left free about the plan
SIDE, MARGIN = 160.0, 0.02
#: the narrowest that the map is beside its longer side, so that names at its rim find room
NARROWEST = 0.62
#: a page is to be read and to be drawn at once; beyond so many of each it shows less, and says so: blocks of trees
#: (drawn together), stumps (left out), trees that stand (drawn as dots), lines of a file (those about findings),
#: findings, other lines of a finding
MOST_BLOCKS, MOST_STUMPS, MOST_STANDING, MOST_LINES, MOST_FINDINGS, MOST_RELATED = (
    2_000,
    4_000,
    4_000,
    20_000,
    1_500,
    40,
)
#: lines shown about one of a finding, in a file of too many
AROUND = 8
#: where a page of the watch server hears of changes
EVENTS = "events"


class Assets(NamedTuple):
    """What ships for the page: the texts of `page.css` and `page.js`, and the type as WOFF2."""

    style: str
    script: str
    regular: bytes
    bold: bytes


def page(
    drawing: Drawing,
    assets: Assets,
    *,
    today: date,
    picture: Picture | None = None,
    live: str | None = None,
    notice: str = "",
) -> str:
    """A drawing as a page of HTML, the same text every time.

    `today` is the day the plan was judged by. `picture` lies beneath the map. `notice` is a line for the reader
    that stands above all. `live` is the watch server's mark of this state of the plan: the page then listens to
    the server's stream of events at `EVENTS` and loads itself anew as soon as a message brings another mark;
    what was looked at (place and zoom, layers, wind, finding) stays. For a plan that cannot be read for the
    moment, hand in the present drawing with the marks and bounds of the last good one, and say so in `notice`.
    """
    report = drawing.report
    sources = _sources(report)
    window = _window(drawing)
    # a wind's scent is drawn by the script, which has all sixteen
    still = drawing._replace(marks=tuple(mark for mark in drawing.marks if mark.layer != "scent"))
    still, spared = _simpler(still)
    drawn = frame(still, window, picture=picture, live=True) if window else None
    winds = _winds(report, window) if window else {}
    kept = drawing.numbered[:MOST_FINDINGS]
    title = clean(report.plan.head.title if report.plan.head else "") or clean(report.source.name)
    style, script = _style(assets), assets.script
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy(assets, live=live is not None)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{_text(title)}</title>
<style>{style}</style>
</head>
<body>
{_header(title, report, today, notice)}
<nav class="parts" aria-label="Parts of the page">
<button data-part="map" aria-pressed="true">Map</button>
<button data-part="findings" aria-pressed="false">Findings</button>
<button data-part="plan" aria-pressed="false">Plan</button>
</nav>
<main>
{_map(drawn, spared, winds)}
{_findings(kept, drawing, sources)}
{_plan(kept, sources)}
</main>
<footer><p>{_text(CAUTION)}</p></footer>
<script type="application/json" id="data">{_json(_data(drawing, kept, sources, window, winds, live))}</script>
<script>{script}</script>
</body>
</html>
"""


def policy(assets: Assets, *, live: bool = False) -> str:
    """The page's content security policy, for its own head and for a server's header alike."""
    hear = "; connect-src 'self'" if live else ""
    return (
        f"default-src 'none'; script-src {_hash(assets.script)}; style-src {_hash(_style(assets))}; "
        f"img-src data:; font-src data:; base-uri 'none'; form-action 'none'{hear}"
    )


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _style(assets: Assets) -> str:
    """The style with the type in it."""
    faces = "".join(
        f'@font-face{{font-family:"Atkinson Hyperlegible Next";font-weight:{weight};'
        f'src:url(data:font/woff2;base64,{base64.b64encode(data).decode()}) format("woff2")}}\n'
        for weight, data in ((400, assets.regular), (700, assets.bold))
    )
    return faces + assets.style


def _text(text: str) -> str:
    """Text of a plan in HTML: escaped, and without what turns or hides its neighbours."""
    return html.escape(clean(text))


def _json(data: object) -> str:
    """JSON inside a script element: nothing in it can close the element or break a line."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


def _count(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


# -- the head --------------------------------------------------------------------------------------------------


def _header(title: str, report: Report, today: date, notice: str) -> str:
    head = report.plan.head
    stage = "a design" if report.scene.design else "the ground as it was built"
    dated = f", of {head.date.value.isoformat()}" if head and head.date else ""
    by = f", drawn by {head.drawn_by.value}" if head and head.drawn_by else ""
    lines = [f"{stage}{dated}{by}; judged by {_count(len(report.rules), 'rule')} as of {today.isoformat()}"]
    lines += overview(report.verdict).splitlines()
    parts = [f"<p>{_text(line[0].upper() + line[1:])}</p>" for line in lines]
    warned = [f'<p class="hushed">{_text(line)}</p>' for line in safety(report.verdict)]
    if notice:
        warned.insert(0, f'<p class="notice" role="status">{_text(notice)}</p>')
    return f"<header>\n<h1>{_text(title)}</h1>\n" + "\n".join([*parts, *warned]) + "\n</header>"


# -- the map ---------------------------------------------------------------------------------------------------


def _window(drawing: Drawing) -> Window | None:
    """The window in which the whole plan lies, with some ground about it; None where nothing is placed."""
    if drawing.bounds is None:
        return None
    west, south, east, north = drawing.bounds
    longest = max(east - west, north - south, 1.0) * (1 + 2 * MARGIN)
    wide, high = (max(side + longest * MARGIN, longest * NARROWEST) for side in (east - west, north - south))
    scale = max(wide, high) * 1000 / SIDE
    return Window((west + east - wide) / 2, (south + north - high) / 2, wide * 1000 / scale, high * 1000 / scale, scale)


def _simpler(drawing: Drawing) -> tuple[Drawing, list[str]]:
    """A drawing that a browser draws at once, and in words what it was spared."""
    said, marks = [], drawing.marks
    if _places(mark for mark in marks if mark.sign in _STUMPS) > MOST_STUMPS:
        marks = tuple(mark for mark in marks if mark.sign not in _STUMPS)
        said.append("Stumps are too many for this page; the printed map has them.")
    if _places(mark for mark in marks if _has_a_sign_each(mark)) > MOST_STANDING:
        marks = tuple(mark._replace(sign="dots") if _has_a_sign_each(mark) else mark for mark in marks)
        said.append("Trees that do not lie are too many for this page, and are dots; the printed map tells them apart.")
    trees: dict[str, list[BaseGeometry]] = {}
    for mark in marks:
        if _is_of_trees(mark):
            trees.setdefault(mark.sign, []).append(mark.shape)
    if sum(map(len, trees.values())) > MOST_BLOCKS:
        together = (Mark(sign, "trees", _together(shapes)) for sign, shapes in trees.items())
        marks = (*(mark for mark in marks if not _is_of_trees(mark)), *together)
        said.append("Trees are too many to be named here: they are drawn together, and lead to no line.")
    return drawing._replace(marks=marks), said


def _is_of_trees(mark: Mark) -> bool:
    return mark.layer == "trees" and SIGNS[mark.sign].kind in ("tree", "point", "dots")


_STUMPS = ("stump", "stump-treated")


def _has_a_sign_each(mark: Mark) -> bool:
    """Trees that are not drawn as they lie, but each by a sign at its place."""
    return _is_of_trees(mark) and SIGNS[mark.sign].kind == "point" and mark.sign not in _STUMPS


def _places(marks: Iterable[Mark]) -> int:
    return sum(len(get_parts(mark.shape)) for mark in marks)


def _together(shapes: Sequence[BaseGeometry]) -> BaseGeometry:
    """Trees of many marks as those of one: stems and tops, or places."""
    if isinstance(shapes[0], GeometryCollection):
        stems, tops = (get_parts([shape.geoms[part] for shape in shapes]) for part in (0, 1))
        return GeometryCollection([multilinestrings(stems), multipolygons(tops)])
    return multipoints(get_parts(shapes))


def _map(drawn: Frame | None, spared: Sequence[str], scents: Mapping[str, str]) -> str:
    if drawn is None:
        return (
            '<section id="map" aria-label="Map"><p class="bare">Nothing of this plan has a place on the ground yet: '
            "give it a <code>boundary</code> with an <code>outline</code>.</p></section>"
        )
    winds = "".join(f'<option value="{wind}">{wind}</option>' for wind in WINDS)
    switches = "".join(
        f'<label><input type="checkbox" data-layer="{layer.name}" checked> {_text(layer.title)}</label>\n'
        for layer in (*LAYERS, Layer("labels", "Names"))
        if layer.name != "scent" and f'data-layer="{layer.name}"' in drawn.svg
    )
    signs = (*drawn.signs, "scent") if scents else drawn.signs
    samples = "".join(f"<li>{swatch(sign)}<span>{_text(SIGNS[sign].legend)}</span></li>\n" for sign in signs)
    letters = "".join(f"<li><b>{_text(one.letters)}</b> {_text(one.label)}</li>\n" for one in drawn.keyed)
    key = f'<h3>Names without room</h3>\n<ul class="letters">\n{letters}</ul>\n' if letters else ""
    return f"""<section id="map" aria-label="Map">
<div class="tools">
<span class="zoom"><button data-do="in" title="Nearer (+)" aria-label="Nearer">+</button>
<button data-do="out" title="Farther (-)" aria-label="Farther">&minus;</button>
<button data-do="whole" title="The whole plan (0)">Whole</button></span>
<label class="wind">Wind from <select id="wind"><option value="">no wind</option>{winds}</select></label>
<details class="layers"><summary>Layers</summary><div>
{switches}</div></details>
<span class="bar" aria-hidden="true"><i></i><span></span></span>
</div>
<div id="sheet" tabindex="0" role="group" aria-label="Map of the plan: + and - for nearer and farther, \
arrows to move, 0 for the whole">
{drawn.svg}
</div>
{"".join(f'<p class="spared">{line}</p>' for line in spared)}<p id="said"></p>
<p id="told" role="status" aria-live="polite"></p>
<details class="legend"><summary>Legend</summary>
<ul class="samples">
{samples}</ul>
{key}</details>
</section>"""


def _winds(report: Report, window: Window) -> dict[str, str]:
    """For each of the sixteen winds the ground that scent reaches on it, as an SVG path; none where no stand has a
    place."""
    found = zip(WINDS, bearings(report.scene).tolist(), strict=True)
    grounds = ((wind, [one.ground for one in ground_reached(report.scene, bearing)]) for wind, bearing in found)
    return {wind: _scent(union_all(shapes), window) for wind, shapes in grounds if shapes}


def _scent(shape: BaseGeometry, window: Window) -> str:
    """Ground that scent reaches, as an SVG path in millimetres of the window."""
    rings = [
        ring.coords
        for part in get_parts(shape)
        if isinstance(part, Polygon)
        for ring in (part.exterior, *part.interiors)
    ]
    places = ([window.on_paper(east, north) for east, north, *_ in ring[:-1]] for ring in rings)
    return "".join(f"M{'L'.join(f'{x:.2f} {y:.2f}' for x, y in ring)}Z" for ring in places)


# -- the findings ----------------------------------------------------------------------------------------------


def _findings(kept: Sequence[Numbered], drawing: Drawing, sources: Sequence[Source]) -> str:
    report = drawing.report
    counts = {level: sum(one.finding.level is level for one in drawing.numbered) for level in reversed(Level)}
    counted = ", ".join(_count(count, level.name) for level, count in counts.items() if count) or "nothing found"
    if report.waived:
        counted += f", {len(report.waived)} waived"
    left = len(drawing.numbered) - len(kept)
    rest = f"<p>{_count(left, 'more finding')} stand not on this page; the command tells them all.</p>" if left else ""
    items = "\n".join(_finding(one, report, sources) for one in kept)
    return f"""<section id="findings" aria-label="Findings">
<div class="bar-of-heads"><h2>Findings</h2><p>{counted}</p>
<label class="reasons"><input type="checkbox" id="reasons"> reasons and mends</label>
<span><button data-do="previous" title="The finding before (p)">Previous</button>
<button data-do="next" title="The next finding (n)">Next</button></span></div>
{rest}<ol class="found">
{items}
</ol>
</section>"""


def _finding(one: Numbered, report: Report, sources: Sequence[Source]) -> str:
    number, finding, place = one
    said = [
        f'<li class="finding {finding.level.name}" data-finding="{number}" id="f{number}">',
        f'<button class="head" aria-expanded="false"><b class="tag">{number}</b> <span class="level">'
        f"{finding.level.name}</span> {_text(message(finding, report.units))}</button>",
        '<p class="where">',
        _line_button(finding.span, _line_name(finding.span, report), sources),
    ]
    if place is not None:
        said.append(f'<button data-do="place">place {_text(at(place, report.units))}</button>')
    related = finding.related[:MOST_RELATED]
    said += [_line_button(other.span, related_line(other, report.source.name), sources) for other in related]
    if len(finding.related) > len(related):
        said.append(f"<span>and {len(finding.related) - len(related)} more</span>")
    said += ["</p>", "<dl>"]
    said += [f"<dt>{word}</dt><dd>{_text(text)}</dd>" for word, text in rows(finding, report.units)]
    said += ["</dl>", "</li>"]
    return "".join(said)


def _line_name(span: Span, report: Report) -> str:
    other = "" if span.source.name == report.source.name else f"{span.source.name}, "
    return f"{other}line {span.line}"


def _line_button(span: Span, words: str, sources: Sequence[Source]) -> str:
    """A button that leads to a line; bare words where its file is not on the page."""
    file = _file(span, sources)
    if file is None:
        return f"<span>{_text(words)}</span>"
    return f'<button data-do="line" data-to="l{file}-{span.line}">{_text(words)}</button>'


# -- the plan's text -------------------------------------------------------------------------------------------


def _sources(report: Report) -> list[Source]:
    """The texts of a plan: its own, then those it includes, in the order of their blocks."""
    found = {report.source.name: report.source}
    for block in report.plan.blocks:
        found.setdefault(block.placed.source.name, block.placed.source)
    return list(found.values())


def _file(span: Span, sources: Sequence[Source]) -> int | None:
    return next((number for number, source in enumerate(sources) if source.name == span.source.name), None)


def _plan(kept: Sequence[Numbered], sources: Sequence[Source]) -> str:
    tags: dict[tuple[int, int], list[int]] = {}
    for one in kept:
        file = _file(one.finding.span, sources)
        if file is not None:
            tags.setdefault((file, one.finding.span.line), []).append(one.number)
    levels = {one.number: one.finding.level.name for one in kept}

    def line_of(file: int, number: int, line: Iterable[tuple[str, str]]) -> str:
        found = "".join(
            f'<button class="tag {levels[found]}" data-do="finding" data-to="{found}" '
            f'aria-label="finding {found}, {levels[found]}">{found}</button>'
            for found in tags.get((file, number), ())
        )
        return f'<li id="l{file}-{number}"><code>{_pieces(line)}</code>{found}</li>'

    parts = []
    for file, source in enumerate(sources):
        said, body = "", []
        if len(source.line_starts) <= MOST_LINES:
            body = [line_of(file, number, line) for number, line in enumerate(highlighted(source.text), 1)]
        else:
            said = f" <small>({len(source.line_starts)} lines; only those about findings stand here)</small>"
            last = 0
            for number in _about([line for of, line in tags if of == file], len(source.line_starts)):
                if number > last + 1:
                    body.append(f'<li class="gap"><code>{_count(number - last - 1, "line")} left out</code></li>')
                numbered = line_of(file, number, [("", source.line(number))])
                body.append(numbered.replace("<li ", f'<li data-number="{number}" ', 1))
                last = number
        parts.append(f'<h3>{_text(source.name)}{said}</h3>\n<ol class="text">{"".join(body)}</ol>')
    return '<section id="plan" aria-label="The plan as written">\n<h2>Plan</h2>\n' + "\n".join(parts) + "\n</section>"


def _about(lines: Iterable[int], last: int) -> list[int]:
    """The lines about some lines of a file, and its first ones."""
    near = {number for line in (1, *lines) for number in range(line - AROUND, line + AROUND + 1)}
    return sorted(number for number in near if 1 <= number <= last)


def _pieces(line: Iterable[tuple[str, str]]) -> str:
    """A line's pieces; blanks and unmarked words stand bare, for most of a text is of them."""
    said = []
    for kind, text in line:
        words = _text(text.rstrip("\r\n"))
        said.append(f'<span class="{html.escape(kind)}">{words}</span>' if kind and words.strip() else words)
    return "".join(said)


# -- for the script --------------------------------------------------------------------------------------------


def _data(
    drawing: Drawing,
    kept: Sequence[Numbered],
    sources: Sequence[Source],
    window: Window | None,
    winds: Mapping[str, str],
    live: str | None,
) -> dict[str, object]:
    """What the script needs: the window, the plan's unit, the sixteen winds' scent, and where findings stand."""
    scene = drawing.report.scene
    return {
        "window": {**window._asdict(), "edge": EDGE} if window else None,
        "unit": [scene.units, UNITS[scene.units][1]],
        "winds": winds,
        "wind": drawing.wind_name,
        "findings": [_marks(one, drawing.report, sources) for one in kept],
        "files": [clean(source.name) for source in sources],
        "live": live,
        "events": EVENTS,
    }


def _marks(one: Numbered, report: Report, sources: Sequence[Source]) -> dict[str, object]:
    """A finding's stretch of text (its lines, and columns in UTF-16 as scripts count) and its other lines;
    `key` tells it again after a change that moves its lines."""
    span = one.finding.span
    file = _file(span, sources)
    last = span.source.line_column(max(span.start, span.end - 1))[0]
    return {
        "number": one.number,
        "level": one.finding.level.name,
        "key": f"{one.finding.rule} {message(one.finding, report.units)}",
        "file": file,
        "first": span.line,
        "last": last,
        "from": span.source.utf16_column(span.start),
        "to": span.source.utf16_column(span.end) if span.end > span.start else None,
        "related": [
            f"l{other}-{related.span.line}"
            for related in one.finding.related[:MOST_RELATED]
            if (other := _file(related.span, sources)) is not None
        ],
    }
