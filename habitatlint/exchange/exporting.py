"""All that a plan places, and what was found, as features: for a phone or a receiver, and to come back by `import`.

A thing carries its noun, its name and title, and its properties as text; its shape is that worked out on the ground,
however it was written (by a traverse, beside a path). Lengths that stood bare get their unit, and what rows, patches
and trees share by the block `trees` is written into each, so that a feature says all of itself. What a plan works out
(trees of rows, how they lie, corridors, findings) carries `derived`, and `import` passes it over.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.exchange.features import DERIVED, Contents, ExchangeTrouble, Feature, FloatArray, counted, plain_text
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import BLOCKS, PLACED, PLURALS, Block, Cutting, Patch, Pocket, Setback
from habitatlint.reading.grammar import Statement
from habitatlint.units import FOOT, INCH

#: kinds of things that can be asked for alone: the nouns of blocks with a place, and what a plan works out
KINDS = (*(block.noun for block in BLOCKS if block.noun in PLACED), "setback", "bed", *DERIVED)
#: what travels though it has no place of its own: the head, what each cut has written into it, and setbacks' ground
_TRAVELS = frozenset({*PLACED, "plan", "trees", "setback"})
#: properties that the shape says
_PLACES_OF = frozenset({"outline", "line", "stumps", "at", "bed"})
#: head lines that are of the file they stand in
_NOT_OF_THE_HEAD = frozenset({"picture"})
_PIECE = re.compile(r'"(?:[^"\\\n]|\\[ \t]*\r?\n|\\.)*"|\#[^\n]*|\\[ \t]*\r?\n|\s+|[^\s"#\\]+|.')


class Told(NamedTuple):
    """A finding as it is exported: its number on the map, level, message, rule, the line it is on, and its place in
    metres of the plan's frame."""

    number: int
    level: str
    message: str
    rule: str
    line: str
    place: tuple[float, float]


def contents(scene: Scene, findings: Iterable[Told] = (), only: Collection[str] = ()) -> Contents:
    """The features of a plan in the order of the language page, findings last; `only` those of some KINDS.

    Raises ExchangeTrouble for a plan without an anchor."""
    frame = scene.placer.frame
    name = scene.plan.source.name
    if frame is None:
        raise ExchangeTrouble(
            f"{name}: says nowhere on the earth that it lies; add to its head, below `plan`, a line such as `anchor "
            "43.7120N,90.6210W`: the place of its 0,0"
        )

    def to_earth(points: FloatArray) -> FloatArray:
        latitude, longitude = frame.to_earth(points[:, 0], points[:, 1])
        return np.column_stack([longitude, latitude])

    found = [
        feature._replace(shape=shapely.transform(feature.shape, to_earth))
        for feature in _features(scene, findings)
        if not only or feature.folder in only
    ]
    return Contents(scene.plan.head.title if scene.plan.head else "", tuple(found), _head(scene))


def _head(scene: Scene) -> dict[str, str]:
    """The head's properties, as they are written."""
    head = scene.plan.head
    if head is None:
        return {}
    return {
        word: said for word in head.properties if word not in _NOT_OF_THE_HEAD if (said := said_of(scene, head, word))
    }


def _features(scene: Scene, findings: Iterable[Told]) -> Iterator[Feature]:
    order = {block.noun: number for number, block in enumerate(BLOCKS)}
    known = (*PLACED, "setback")
    blocks = [block for block in scene.plan.blocks if block.noun in known and not block.broken]
    for block in sorted(blocks, key=lambda block: order[block.noun]):
        feature = _of_block(scene, block)
        if feature is not None:
            yield feature
        if isinstance(block, Pocket):
            yield from _beds(scene, block)
    for pocket, lines in zip(scene.plan.of(Pocket), scene.corridors, strict=True):
        for number, (_, line) in enumerate(lines, 1):
            yield _derived(line, "corridor", f"corridor {number} of {pocket.name}")
    yield from _trees(scene)
    for told in findings:
        said = {"level": told.level, "rule": told.rule, "line": told.line, "message": told.message}
        yield _derived(Point(told.place), "findings", f"{told.level} {told.number}", told.message, said)


def _of_block(scene: Scene, block: Block) -> Feature | None:
    """A block with its shape; None where it has none."""
    shape = scene.shape_of(block)
    own: dict[str, str] = {}
    if shape is None and block.noun == "tree":  # its row lays it
        rows = scene.trees.rows_of(block)
        shape = Point(float(scene.trees.x[rows[0]]), float(scene.trees.y[rows[0]])) if len(rows) else None
        own = {"placed-by": "of"}
    if shape is None and isinstance(block, Patch) and block.in_ is not None:
        pocket = scene.plan.names.get(str(block.in_.value))
        shape = scene.shape_of(pocket) if pocket is not None else None
        own = {"placed-by": "in"}
    if isinstance(block, Setback):
        shape, own = _kept_off(scene, block), {"placed-by": "from"}
    if shape is None or shape.is_empty:
        return None
    if not isinstance(shape, Polygon | MultiPolygon) and shape.geom_type not in ("Point", "LineString"):
        return None
    properties = {"noun": block.noun, "name": block.name, "title": block.title, **own}
    for word in block.properties:
        if word not in _PLACES_OF:
            properties[word] = said_of(scene, block, word)
    properties = {word: said for word, said in properties.items() if said}
    name = plain_text(block.title or block.name or block.noun, 200)
    kind = next((properties[word] for word in ("kind", "use", "method") if word in properties), "")
    kinds = (f"{block.noun} {kind}".strip(),)
    return Feature(shape, name, kinds, block.noun, _description(block, properties), properties)


def _kept_off(scene: Scene, setback: Setback) -> BaseGeometry | None:
    """The ground of a setback: all within its distance of what it is measured from."""
    name = scene.plan.word(setback, "from")
    thing = scene.plan.names.get(name)
    of = scene.shape_of(thing) if thing is not None else None
    if name == "boundary":
        of = scene.property_.boundary if scene.property_ is not None else None
    if of is None or setback.distance is None:
        return None
    return of.buffer(scene.placer.metres(setback.distance))


def left_behind(scene: Scene) -> list[str]:
    """Kinds of blocks of a plan that no export holds, for they have no place."""
    nouns = {block.noun for block in scene.plan.blocks} - _TRAVELS
    return sorted("the order of work" if noun == "work" else PLURALS.get(noun, f"`{noun}`") for noun in nouns)


def _beds(scene: Scene, pocket: Pocket) -> Iterator[Feature]:
    for number, place in enumerate(scene.placer.points(pocket, pocket.bed), 1):
        name = f"bed {number} of {pocket.title or pocket.name}"
        yield Feature(Point(place), plain_text(name, 200), ("bed",), "bed", "",
                      {"noun": "bed", "pocket": pocket.name})  # fmt: skip


def _trees(scene: Scene) -> Iterator[Feature]:
    """Every tree of a row or by itself, and the ground that those cover that lie."""
    cut = scene.trees
    for at in range(len(cut)):
        block = cut.blocks[int(cut.block[at])]
        alone = block.noun == "tree"
        name = plain_text(block.title or block.name, 150) + ("" if alone else f" {int(cut.number[at])}")
        facts = _facts(scene, at)
        if not alone:
            yield _derived(Point(float(cut.x[at]), float(cut.y[at])), "trees", name, facts)
        if cut.lies[at]:
            lie = cut.top[at] if not cut.top[at].is_empty else cut.stem[at]
            outline = shapely.convex_hull(shapely.union_all([lie, cut.stem[at]]))
            if outline.geom_type == "Polygon":
                yield _derived(outline, "trees", f"{name}, fallen", facts)
            elif cut.stem[at].length > 0:
                yield _derived(cut.stem[at], "trees", f"{name}, fallen", facts)


def _facts(scene: Scene, at: int) -> str:
    """A tree in words: its method, how it falls, and its size."""
    cut = scene.trees
    said = [str(cut.method[at] or cut.state[at])]
    if np.isfinite(cut.bearing[at]):
        said.append(f"falls {cut.bearing[at]:.0f} degrees from true north")
    if scene.units == "m":
        said.append(f"DBH {cut.dbh[at] * 100:.0f} cm, {cut.height[at]:.0f} m tall")
    else:
        said.append(f"DBH {cut.dbh[at] / INCH:.0f} in, {cut.height[at] / FOOT:.0f} ft tall")
    return ", ".join(part for part in said if part) + (" (sizes estimated)" if cut.estimated[at] else "")


def _derived(
    shape: BaseGeometry, kind: str, name: str, description: str = "", properties: dict[str, str] | None = None
) -> Feature:
    return Feature(shape, plain_text(name, 200), (kind,), kind, plain_text(description, 1000),
                   {"derived": kind, **(properties or {})})  # fmt: skip


def _description(block: Block, properties: dict[str, str]) -> str:
    """What a person with a phone in hand wants to read of a thing: why, notes, and what is to be done."""
    said = [properties.get(word, "") for word in ("text", "why", "note")]
    return plain_text("; ".join(part.replace("\n", "; ") for part in said if part), 1000)


# -- properties as text ----------------------------------------------------------------------------------------


def said_of(scene: Scene, block: Block, word: str) -> str:
    """A property as a plan says it, a line a statement; "" where it does not."""
    statements: Iterable[tuple[Block, Statement]] = [(block, statement) for statement in block.all(word)]
    if not statements and isinstance(block, Cutting) and block.first("of") is None:
        owner = scene.plan.owner(block, word)
        statements = [owner] if owner is not None else []
    lines = []
    for owner_block, statement in statements:
        if block.properties[word].takes == "text":
            lines.append(plain_text(statement.values[0].value, 4000))
        else:
            lines.append(_text(scene, owner_block, statement))
    return "\n".join(line for line in lines if line)


def _text(scene: Scene, block: Block, statement: Statement) -> str:
    """What stands behind a property's word, on one line, without comments; bare lengths with the plan's unit."""
    span = block.span(statement)
    text = span.text
    lengths = block.properties[statement.word].takes == "ground" or statement.word == "corridors"
    for value in sorted(statement.values, key=lambda one: -one.start):
        if lengths and value.kind == "number":
            end = block.span(value).end - span.start
            text = text[:end] + scene.units + text[end:]
    words = []
    for piece in _PIECE.findall(text):
        if piece.startswith(("#", "\\")) or piece.isspace():
            words.append(" ")
        else:
            words.append(piece)
    return " ".join("".join(words).split()).partition(" ")[2]


def summary(exported: Contents) -> str:
    """How much is written: `14 points, 22 lines, 9 areas`."""
    forms = {form: sum(feature.form == form for feature in exported.features) for form in ("point", "line", "area")}
    return ", ".join(counted(count, form) for form, count in forms.items() if count) or "nothing"
