"""A paper as one page for a browser: whole in one file, without a script, and asking nothing of any network.

All that comes of a plan is escaped, and a content security policy (https://www.w3.org/TR/CSP3/) lets nothing style the
page but this package's own sheet, named by its SHA-256.
"""

from __future__ import annotations

import base64
import hashlib
import html
import re
from collections.abc import Iterator
from typing import NamedTuple

from habitatlint.outputs.map import press
from habitatlint.outputs.papers.paper import (
    Cautions,
    Items,
    Paper,
    Part,
    Picture,
    Section,
    Sheets,
    Table,
    Terms,
    Words,
    quoted,
)
from habitatlint.outputs.sentences import clean


class Assets(NamedTuple):
    """What ships for the page: the text of `paper.css`, the type as WOFF2, and what ships for the print of a map."""

    style: str
    regular: bytes
    bold: bytes
    map: press.Assets


def as_page(paper: Paper, assets: Assets) -> str:
    """The whole paper as HTML, the same text every time. Sections can be reached by their names (`#tally`)."""
    style = _style(assets)
    policy = policy_for(style)
    facts = "".join(f"<div><dt>{_text(word)}</dt><dd>{_text(value)}</dd></div>\n" for word, value in paper.facts)
    subtitle = f'<p class="subtitle">{_text(paper.subtitle)}</p>\n' if paper.subtitle else ""
    body = "\n".join(_section(section, 2, assets) for section in paper.sections)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{_text(paper.title)}{": " + _text(paper.subtitle) if paper.subtitle else ""}</title>
<style>{style}</style>
</head>
<body>
<header>
<h1>{_text(paper.title)}</h1>
{subtitle}<dl class="facts">
{facts}</dl>
</header>
{_contents(paper)}<main>
{body}
</main>
<footer><p>{_text(paper.foot)}</p></footer>
</body>
</html>
"""


def _contents(paper: Paper) -> str:
    """What stands where, for a paper of more than a few sections."""
    if len(paper.sections) < 4:
        return ""
    items = "".join(f'<li><a href="#{_text(one.name)}">{_text(one.title)}</a></li>\n' for one in paper.sections)
    return f'<nav aria-label="Contents"><ol>\n{items}</ol></nav>\n'


def _section(section: Section, level: int, assets: Assets, within: str = "") -> str:
    of = f"{within}-{section.name}" if within else section.name
    parts = "\n".join(_part(part, assets) for part in section.parts)
    inner = "\n".join(_section(one, min(level + 1, 4), assets, of) for one in section.sections)
    name = f' id="{_text(of)}"' if section.name else ""
    apart = ' class="apart"' if section.apart else ""
    return f"<section{name}{apart}>\n<h{level}>{_text(section.title)}</h{level}>\n{parts}\n{inner}\n</section>"


def _part(part: Part, assets: Assets) -> str:
    match part:
        case Words(text, tone):
            return f'<p class="{tone}">{_text(text)}</p>'
        case Table():
            return _table(part)
        case Items(items, ticks, numbered):
            kind, mark = ("ol", ' class="numbered"') if numbered else ("ul", ' class="ticks"' if ticks else "")
            return f"<{kind}{mark}>\n" + "".join(f"<li>{_text(item)}</li>\n" for item in items) + f"</{kind}>"
        case Terms(pairs):
            terms = "".join(f"<div><dt>{_text(word)}</dt><dd>{_text(told)}</dd></div>\n" for word, told in pairs)
            return f'<dl class="terms">\n{terms}</dl>'
        case Cautions(title, items):
            told = "".join(f"<li>{_text(item)}</li>\n" for item in items)
            return f'<div class="cautions" role="note">\n<p>{_text(title)}</p>\n<ul>\n{told}</ul>\n</div>'
        case Picture(svg, _, _, words):
            return f'<figure class="picture" role="img" aria-label="{_text(words)}">{_own_names(svg)}</figure>'
        case Sheets():
            printed = press.press(part.drawing, part.layout, "svg", assets.map, part.today, part.find)
            return "\n".join(_sheet(page, part.words) for page in printed.pages)


def _own_names(svg: str) -> str:
    """A picture whose names (of its hatches, say) are no other picture's on the page."""
    own = hashlib.sha256(svg.encode()).hexdigest()[:8]
    return re.sub(r'(\sid="|="url\(#|href="#)', rf"\g<1>{own}-", svg)


def _sheet(svg: bytes, words: str) -> str:
    """A sheet, which has its own type in it, shut up in an image."""
    data = base64.b64encode(svg).decode()
    return f'<figure class="sheet"><img src="data:image/svg+xml;base64,{data}" alt="{_text(words)}"></figure>'


def _table(table: Table) -> str:
    title = f"<caption>{_text(table.title)}</caption>\n" if table.title else ""
    heads = "".join(_cells("th", [column.title for column in table.columns], table))
    rows = "".join(f"<tr>{_box(table)}{''.join(_cells('td', row, table))}</tr>\n" for row in table.rows)
    sums = "".join(_cells("td", table.total, table)) if table.total else ""
    total = f"<tfoot><tr>{_box(table, '')}{sums}</tr></tfoot>\n"
    head = f"<thead><tr>{_box(table, '')}{heads}</tr></thead>\n"
    body = f"<tbody>\n{rows}</tbody>\n{total if table.total else ''}"
    return f'<div class="wide" tabindex="0"><table>\n{title}{head}{body}</table></div>'


def _box(table: Table, box: str = '<span class="box"></span>') -> str:
    return f"<td>{box}</td>" if table.ticks else ""


def _cells(tag: str, cells: list[str] | tuple[str, ...], table: Table) -> Iterator[str]:
    scope = ' scope="col"' if tag == "th" else ""
    for cell, column in zip(cells, table.columns, strict=True):
        right = ' class="right"' if column.right else ""
        yield f"<{tag}{scope}{right}>{_text(cell)}</{tag}>"


def _style(assets: Assets) -> str:
    return styled(assets.style, assets.regular, assets.bold)


def styled(style: str, regular: bytes, bold: bytes) -> str:
    """A style with the type in it, as WOFF2."""
    faces = "".join(
        f'@font-face{{font-family:"Atkinson Hyperlegible Next";font-weight:{weight};'
        f'src:url(data:font/woff2;base64,{base64.b64encode(data).decode()}) format("woff2")}}\n'
        for weight, data in ((400, regular), (700, bold))
    )
    return faces + style


def policy_for(style: str) -> str:
    """The content security policy of a page that has this style and no script."""
    shown = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{shown}'; img-src data:; font-src data:; base-uri 'none'; "
        "form-action 'none'"
    )


def _text(text: str) -> str:
    """Text of a plan in HTML: escaped, and without what turns or hides its neighbours."""
    return html.escape(quoted(clean(text)))
