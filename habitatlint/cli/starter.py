"""What `new` writes: a template for a common lie of the land, or what was walked with the rest of one as comments."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from habitatlint import files
from habitatlint.language.plan import LAYOUT, plan_grammar
from habitatlint.reading.blocks import Placed, read
from habitatlint.source import Source

#: the templates that ship, and what each is for; the first is the usual one
TEMPLATES = {
    "forty-acres": "forty acres, square: one plot, the does' cover by it, one stand and its walk",
    "eighty-by-a-road": "eighty acres with half a mile of road: a plot at either end, both walks from one gate",
    "creek-bottom": "eighty acres with a creek: natural cover by the water, the cuts on dry ground, air that drains",
    "ridge": "eighty acres over a ridge: a bench, slopes, a draw, and the hunter on the low side",
}
USUAL = "forty-acres"
#: blocks of a template that are of its own ground alone
_OF_ITS_GROUND = frozenset({"plan", "boundary"})


class Begun(NamedTuple):
    """A plan's text, and the lines to be told of it."""

    text: str
    told: tuple[str, ...] = ()


def starter(title: str, template: str = USUAL) -> str:
    """A template's text, with the property's name in it; raises FileTrouble for one that is not there."""
    plain = _plain(title) or "My farm"
    text = template_text(template)
    first, _, rest = text.partition("\n")
    said = first.partition(":")[2]
    return re.sub(r'(?m)^plan ".*"$', lambda _: f'plan "{plain}"', f"# {plain}:{said}\n{rest}", count=1)


def template_text(name: str) -> str:
    if name not in TEMPLATES:
        from habitatlint.reading.grammar import did_you_mean, near

        hint = did_you_mean(near(name, TEMPLATES)) or "; `habitatlint new --list` shows those there are"
        raise files.FileTrouble(f"no template is called `{_plain(name)[:40]}`{hint}")
    return files.asset(f"templates/{name}.habitat").decode()


def listing() -> str:
    """The templates, a line each."""
    width = max(map(len, TEMPLATES))
    return "".join(f"{name:{width}}  {says}\n" for name, says in TEMPLATES.items())


def walked(path: str, title: str, template: str, today: date) -> Begun:
    """A plan of what was walked, by a file that `import` reads; below it what of a template is still wanted, each line
    a comment, to be taken over by taking the sign away. Raises FileTrouble."""
    from habitatlint.cli.importing import file_contents, told_by
    from habitatlint.exchange.importing import into_new

    grammar = files.grammar("plan", plan_grammar)
    contents = [file_contents(path)]
    brought = told_by(contents, lambda: into_new(contents, grammar, title=_plain(title), day=today))
    came = {_kind(placed) for placed in read(Source("new", brought.text), grammar, LAYOUT)}
    rest = "".join(_rest(template, came))
    opening = (
        "\n\n# What a plan needs besides, from a template: its places are of another property, so walk them or read\n"
        "# them off the map, before you take the # away. `habitatlint words` lists what else there is.\n"
    )
    return Begun(brought.text + (f"{opening}{rest}" if rest else ""), brought.told)


def _kind(placed: Placed) -> str:
    """A block's noun, and of a path its use: a lane in makes no line of travel needless."""
    use = next((str(line.values[0].value) for line in placed.parsed.statements if line.rule == "use"), "")
    return f"{placed.parsed.noun} {use}".strip()


def _rest(template: str, came: set[str]) -> Iterator[str]:
    """The blocks of a template of whose kind nothing came in, as comments."""
    text = template_text(template)
    grammar = files.grammar("plan", plan_grammar)
    blocks = read(Source(template, text), grammar, LAYOUT)
    for placed in blocks:
        if _kind(placed) in came | _OF_ITS_GROUND:
            continue
        body = text[placed.offset : placed.offset + placed.length].rstrip("\n")
        # what stands below a block's last line is of the next one
        lines = body.split("\n")
        while lines and (not lines[-1].strip() or lines[-1].startswith("#")):
            del lines[-1]
        yield "\n" + "".join(f"# {line}\n" if line else "#\n" for line in lines)


def _plain(title: str) -> str:
    return " ".join(title.replace("\\", " ").replace('"', " ").split())


def title_of(path: str) -> str:
    """What a property is called whose plan nobody gave a title: its file's name."""
    return os.path.basename(path).removesuffix(files.PLAN_ENDING)
