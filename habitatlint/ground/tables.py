"""The plurals of the rule language: what of a scene rules may look at, as tables of columns."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import shapely

from habitatlint.findings import Slip
from habitatlint.ground.columns import Column, Place, Table, alike, column, distinct
from habitatlint.ground.cuts import KILLING, LAYING, middle_tree
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import BLOCKS, PLACED, PLURALS, Block, Cutting, Path, Pocket, Row, Step, Work
from habitatlint.language.plan import PlanText
from habitatlint.language.properties import Property
from habitatlint.reading.values import Written
from habitatlint.source import Span

#: what a property takes -> the kind of its column
_KINDS = {
    "length": "length", "ground": "length", "share": "share", "count": "count", "number": "number",
    "density": "density", "basal-area": "basal-area", "volume": "volume", "dose": "dose",
    "duration": "duration", "date": "date", "text": "text", "word": "word", "truth": "truth",
    "names": "list", "words": "list", "bearings": "list", "day": "window",
}  # fmt: skip


def _table_of(nouns: frozenset[str]) -> str:
    """The plural of things a name may stand for, where it is one; "" where it may be several."""
    return PLURALS.get(next(iter(nouns)), "") if len(nouns) == 1 else ""


def kind_of(prop: Property[Any]) -> str:
    """The kind of a property's column in the rule language, "" for none of one kind."""
    if prop.takes == "name":
        plural = _table_of(prop.of)
        return f"thing:{plural}" if plural else "name"
    if prop.word == "from" and prop.takes == "special" and prop.of:
        return "name"
    return _KINDS.get(prop.takes, "")


def _block_fields(noun: str) -> dict[str, str]:
    block = next(block for block in BLOCKS if block.noun == noun)
    fields = {"name": "name", "title": "text", "shape": "shape"}
    for word, prop in block.properties.items():
        if prop.takes == "sizes":
            fields[word] = fields[f"least-{word}"] = fields[f"largest-{word}"] = "length"
        elif kind := kind_of(prop):
            fields[word] = kind
    return fields


_TREE_FIELDS = {
    "block": "name", "pocket": "thing:pockets", "number": "count", "method": "word", "state": "word",
    "purpose": "word", "species": "list", "fall": "bearing", "dbh": "length", "least-dbh": "length",
    "largest-dbh": "length", "height": "length", "largest-height": "length", "cut-height": "length",
    "reach": "length", "crown-width": "length", "step": "number", "lean": "angle", "by": "thing:crews",
    "mix": "thing:mixes", "in": "thing:pockets", "done": "date", "condition": "word",
    "stump-treatment": "word", "tree-height": "length", "crown-ratio": "share",
    "shape": "shape", "stump": "place", "stem": "shape", "top": "shape", "fallen": "shape", "barrier": "shape",
    "live": "truth", "treated": "truth", "lying": "truth", "cut": "truth", "counted": "truth",
    "cutting": "thing:cuttings",
}  # fmt: skip

_STEP_FIELDS = {"number": "number", "title": "text", "by": "thing:crews", "first": "date", "last": "date"}
_BED_FIELDS = {"pocket": "thing:pockets", "number": "count", "at": "place", "shape": "shape"}
_CUTTING_FIELDS = {
    "pocket": "thing:pockets", "block": "name", "single": "truth", "trees": "things:trees", "hinges": "things:trees",
}  # fmt: skip
_CUT_FIELDS = {
    **{field: kind for field, kind in _block_fields("row").items() if field not in ("stumps", "spacing", "count")},
    "live": "truth", "counted": "truth", "finished": "truth", "pocket": "thing:pockets",
}  # fmt: skip
_SLIP_FIELDS = {
    "kind": "word", "thing": "text", "found": "text", "expected": "text", "hint": "text", "why": "text",
    "size": "length", "limit": "length", "share": "share", "count": "count", "place": "place", "name": "name",
    "other": "text", "likely": "text",
}  # fmt: skip
_LIKELY = re.compile("did you mean `([^`]+)`")

#: plural -> its fields and their kinds: what a pack is checked against before any plan is read
FIELDS: dict[str, dict[str, str]] = {
    **{plural: _block_fields(noun) for noun, plural in PLURALS.items() if noun != "work"},
    "trees": _TREE_FIELDS,
    "steps": _STEP_FIELDS,
    "beds": _BED_FIELDS,
    "cuttings": _CUTTING_FIELDS,
    "cuts": _CUT_FIELDS,
    "slips": _SLIP_FIELDS,
}
FIELDS["plans"]["stage"] = "word"
FIELDS["pockets"]["cut"] = "truth"
FIELDS["pockets"]["cover"] = "word"
FIELDS["paths"]["width"] = "length"


def lay_tables(scene: Scene) -> None:
    """Opens a scene to rules: every plural of blocks, and those of trees, steps, beds and cuts."""
    for plural in PLURALS.values():
        scene.add_table(plural, partial(block_table, plural=plural))
    for plural, maker in (
        ("trees", trees_table),
        ("steps", steps_table),
        ("beds", beds_table),
        ("cuttings", cuttings_table),
        ("cuts", cuts_table),
    ):
        scene.add_table(plural, maker)


def block_table(scene: Scene, plural: str) -> Table:
    blocks = scene.blocks_of(plural)
    plan = scene.plan
    if plural == "plans" and not blocks:
        return _headless(plan)
    noun = next(noun for noun, plural_ in PLURALS.items() if plural_ == plural)
    kind = next(block for block in BLOCKS if block.noun == noun)
    table = _blocks_as_table(scene, plural, blocks, kind)
    if plural == "plans":
        table.add("stage", lambda: column("word", [plan.stage for _ in blocks]))
    if plural == "paths":
        widths = [scene.width_of(path) for path in blocks if isinstance(path, Path)]
        table.add("width", lambda: column("length", widths))
    if plural == "pockets":
        table.add("cut", lambda: column("truth", cut_pockets(scene)))
        table.add("cover", lambda: column("word", pocket_covers(scene)))
    return table


def _blocks_as_table(scene: Scene, plural: str, blocks: list[Block], kind: type[Block]) -> Table:
    """Blocks as a table of what they say, by the properties of their kind."""
    plan = scene.plan
    table = Table(
        plural,
        len(blocks),
        lambda row: blocks[row].label,
        lambda row: blocks[row].name,
        lambda row: blocks[row].span(),
    )
    table.written = lambda row, field: _where(plan, blocks[row], field)
    table.add("name", lambda: column("name", [block.name for block in blocks]))
    table.add("title", lambda: column("text", [block.title for block in blocks]))
    table.add("shape", lambda: _shapes(scene, blocks))
    table.unplaced = np.array([block.noun in PLACED and scene.shape_of(block) is None for block in blocks], bool)
    for word, prop in kind.properties.items():
        if prop.takes == "sizes":
            for part, prefix in enumerate(("least-", "", "largest-")):
                table.add(prefix + word, lambda word=word, part=part: _size_column(plan, blocks, word, part))  # type: ignore[misc]
        elif of_kind := kind_of(prop):
            table.add(word, lambda word=word, of_kind=of_kind: _property(scene, blocks, word, of_kind))  # type: ignore[misc]
    return table


def _headless(plan: PlanText) -> Table:
    """The head of a plan that has none: a design in yards, with nothing else said."""
    start = Span(plan.source, 0, len(plan.source.line(1)))
    table = Table("plans", 1, lambda row: "plan", lambda row: "", lambda row: start)
    for field, kind in FIELDS["plans"].items():
        table.add(field, lambda field=field, kind=kind: column(kind, [None], f"no `{field}` is given"))  # type: ignore[misc]
    table.add("stage", lambda: column("word", [plan.stage]))
    return table


def _where(plan: PlanText, block: Block, field: str) -> Place | None:
    """Where a block's property is written, and whether another block says it for this one."""
    for prefix in ("least-", "largest-"):
        field = field.removeprefix(prefix) if field not in block.properties else field
    if field in ("name", "title"):
        return Place(block.name_span, False)
    owner = plan.owner(block, field)
    return Place(owner[0].span(owner[1]), owner[0] is not block) if owner else None


def _shapes(scene: Scene, blocks: list[Block]) -> Column:
    # a thing without a place has been told as a slip: nothing more is said of it
    return column("shape", [scene.shape_of(block) for block in blocks])


def _size_column(plan: PlanText, blocks: list[Block], word: str, part: int) -> Column:
    values: list[float | None] = []
    for block in blocks:
        value = plan.value(block, word)
        if value is None:
            values.append(None)
        elif hasattr(value.value, "least"):
            size = value.value
            values.append((size.least.size, size.middle, size.largest.size)[part])
        else:
            values.append(value.value.size)
    return column("length", values, f"no `{word}` is given", "in" if word == "dbh" else "")


def _property(scene: Scene, blocks: list[Block], word: str, kind: str) -> Column:
    """A property of each block as a column of its kind."""
    plan = scene.plan
    why = f"no `{word}` is given"
    values: list[Any] = []
    for block in blocks:
        written = plan.values(block, word)
        values.append(_one(scene, written, kind) if written else None)
    if kind == "truth":
        values = [bool(value) for value in values]
    if kind == "list":
        values = [value if value is not None else () for value in values]
    return column(kind, values, why)


def _one(scene: Scene, written: tuple[Written, ...], kind: str) -> Any:
    value = written[0]
    if kind == "list":
        return tuple(item.value.text if item.kind in ("wind", "bearing") else str(item.value) for item in written)
    if kind == "truth":
        return str(value.value) == "yes"
    if kind.startswith("thing:"):
        return scene.row_of(kind.removeprefix("thing:"), str(value.value))
    if kind == "date":
        return value.value.toordinal() if value.kind == "date" else None
    if kind == "length":
        return scene.placer.metres(value)
    if kind == "window":
        return value.value
    if kind in ("word", "name", "text"):
        return str(value.value)
    size = getattr(value.value, "size", None)
    return value.value.number if kind in ("count", "number") else size


def cut_pockets(scene: Scene) -> list[bool]:
    """For each pocket, whether a row, patch or tree that cuts names it by `in` or stands in it."""
    found = scene.memo.get("cut pockets")
    if isinstance(found, list):
        return found
    pockets = scene.plan.of(Pocket)
    cut = set()
    trees = scene.trees
    if len(trees):
        cut |= {int(index) for index in distinct(trees.pocket[_is_cut(scene)])}
    grounds = [(index, ground) for index, one in enumerate(pockets) if (ground := scene.shape_of(one)) is not None]
    index = shapely.STRtree([ground for _, ground in grounds])
    named: set[str] = set()
    for patch in scene.blocks_of("patches"):
        if scene.plan.word(patch, "method") == "leave" or not scene.plan.counted(patch):
            continue
        shape = scene.shape_of(patch)
        if name := scene.plan.word(patch, "in"):
            named.add(name)
        elif shape is not None:
            cut |= {grounds[at][0] for at in index.query(shape.centroid, predicate="intersects")}
    cut |= {index for index, pocket in enumerate(pockets) if pocket.name in named}
    found = scene.memo["cut pockets"] = [index in cut for index in range(len(pockets))]
    return found


def _is_cut(scene: Scene) -> Any:
    """Whether each tree is cut or killed; one that the wind has thrown is not."""
    trees = scene.trees
    return np.isin(trees.method, (*LAYING, *KILLING)) & trees.counted & (trees.state != "blown")


def pocket_covers(scene: Scene) -> list[str]:
    """What each pocket's cover is; left out, `cut` where something is cut in it, else `natural`."""
    return [
        scene.plan.word(pocket, "cover", "cut" if cut else "natural")
        for pocket, cut in zip(scene.plan.of(Pocket), cut_pockets(scene), strict=True)
    ]


def trees_table(scene: Scene) -> Table:
    trees = scene.trees
    plan = scene.plan

    def block(row: int) -> Block:
        return trees.blocks[int(trees.block[row])]

    def label(row: int) -> str:
        owner = block(row)
        if owner.noun == "tree":
            return f"tree {owner.name}"
        return f"tree {trees.number[row]} of {owner.name}" if owner.name else f"tree {trees.number[row]}"

    table = Table("trees", len(trees), label, lambda row: block(row).name, lambda row: block(row).span())
    table.written = lambda row, field: _where(plan, block(row), "tree-height" if field.endswith("height") and field not in ("cut-height", "tree-height") else field)  # noqa: E501  # fmt: skip

    def add(field: str, values: Callable[[], Any], kind: str, known: Any = None, estimated: Any = None,
            why: str = "", unit: str = "") -> None:  # fmt: skip
        table.add(field, lambda: Column(kind, values(), known() if known else None,
                                        estimated() if estimated else None, why, unit))  # fmt: skip

    def of_block(values: list[Any], dtype: Any = object) -> Any:
        array = np.empty(len(values), dtype)
        array[:] = values
        return array[trees.block] if len(values) else array

    add("block", lambda: of_block([block.name for block in trees.blocks]), "name")
    add("number", lambda: trees.number.astype(float), "count")
    add("method", lambda: trees.method, "word", lambda: trees.method != "", why="no `method` is given")
    add("state", lambda: trees.state, "word", lambda: trees.state != "", why="no `state` is given")
    for field, values in (
        ("dbh", lambda: trees.dbh), ("least-dbh", lambda: trees.least_dbh), ("largest-dbh", lambda: trees.largest_dbh),
    ):  # fmt: skip
        add(field, values, "length", lambda: trees.dbh_written, why="no `dbh` is given", unit="in")
    add("height", lambda: trees.height, "length", estimated=lambda: ~trees.height_written)
    add("largest-height", lambda: trees.largest_height, "length", estimated=lambda: ~trees.height_written)
    add("crown-width", lambda: trees.crown_width, "length", estimated=lambda: ~trees.crown_written)
    add("cut-height", lambda: trees.cut_height, "length", unit="ft")
    add("reach", lambda: trees.reach, "length", estimated=lambda: ~trees.height_written)
    add("fall", lambda: trees.bearing, "bearing", lambda: np.isfinite(trees.bearing), why="no `fall` is given")
    add("step", lambda: trees.step, "number", lambda: np.isfinite(trees.step), why="no `step` is given")
    add("lean", lambda: trees.lean, "angle")
    add(
        "pocket",
        lambda: trees.pocket,
        "thing:pockets",
        lambda: trees.pocket >= 0,
        why="it belongs to no pocket",
    )
    table.add("cutting", lambda: _cutting_of(scene))
    add("stump", lambda: trees.stump, "place")
    for field in ("stem", "top", "fallen", "barrier", "shape"):
        of = "fallen" if field == "shape" else field
        add(field, lambda of=of: getattr(trees, of), "shape", lambda: trees.lies,  # type: ignore[misc]
            estimated=lambda: trees.estimated)  # fmt: skip
    add("live", lambda: trees.live, "truth")
    add("treated", lambda: trees.treated, "truth")
    add("lying", lambda: trees.lies, "truth")
    add("counted", lambda: trees.counted, "truth")
    add("cut", lambda: _is_cut(scene), "truth")
    blocks = list(trees.blocks)
    for word in ("purpose", "species", "by", "mix", "in", "done", "condition", "stump-treatment", "tree-height",
                 "crown-ratio"):  # fmt: skip
        kind = _TREE_FIELDS[word]
        if word == "tree-height":
            table.add(word, lambda: _size_column(plan, blocks, "tree-height", 1).take(trees.block))
        else:
            table.add(word, lambda word=word, kind=kind: _property(scene, blocks, word, kind).take(trees.block))  # type: ignore[misc]
    return table


def patches_as_trees(scene: Scene) -> Table:
    """Patches whose work counts, in the shape of the table of trees: what is said of all their trees, and
    nothing of any one. Where their trees may lie is the patch's ground, grown by one tree's reach."""
    found = scene.memo.get("patches as trees")
    if isinstance(found, Table):
        return found
    plan = scene.plan
    every = cut_blocks(scene)
    grounds = dict(zip(map(id, every), _cut_shapes(scene, every).values, strict=True))
    blocks = [
        block for block in every
        if block.noun == "patch" and plan.counted(block) and grounds[id(block)] is not None
    ]  # fmt: skip
    methods = [plan.word(block, "method") for block in blocks]
    laid = [method in LAYING for method in methods]
    table = _blocks_as_table(scene, "trees", blocks, Cutting)
    for field in _TREE_FIELDS.keys() - set(table.fields):
        kind = _TREE_FIELDS[field]
        table.add(field, lambda kind=kind: column(kind, [None for _ in blocks]))  # type: ignore[misc]
    stumps = [grounds[id(block)] for block in blocks]
    reaches = [
        middle_tree(plan, scene.placer, block).reach if lies else 0.0 for block, lies in zip(blocks, laid, strict=True)
    ]
    lying = [stump.buffer(reach) for stump, reach in zip(stumps, reaches, strict=True)]
    treatments = [plan.word(block, "stump-treatment") for block in blocks]
    treated = [said == "done" or (scene.design and said == "planned") for said in treatments]
    pockets = [scene.row_of("pockets", plan.word(block, "in")) for block in blocks]
    for field, values in (
        ("lying", laid),
        ("cut", [method in (*LAYING, *KILLING) for method in methods]),
        ("counted", [True for _ in blocks]),
        ("treated", treated),
        ("live", [method == "hinge" and not one for method, one in zip(methods, treated, strict=True)]),
        ("block", [block.name for block in blocks]),
        ("pocket", pockets),
        ("stump", stumps),
        *((field, lying) for field in ("shape", "stem", "top", "fallen", "barrier")),
    ):
        table.add(field, lambda field=field, values=values: column(_TREE_FIELDS[field], values))  # type: ignore[misc]
    scene.memo["patches as trees"] = table
    return table


def steps_table(scene: Scene) -> Table:
    found: list[tuple[Work, Step]] = [(work, step) for work in scene.plan.of(Work) for step in work.steps]
    table = Table("steps", len(found), lambda row: f"step {found[row][1].number:g}", lambda row: "",
                  lambda row: found[row][0].span(found[row][1].line))  # fmt: skip
    steps = [step for _, step in found]
    table.add("number", lambda: column("number", [step.number for step in steps]))
    table.add("title", lambda: column("text", [step.title for step in steps]))
    rows = [scene.row_of("crews", step.crew) if step.crew is not None else None for step in steps]
    table.add("by", lambda: column("thing:crews", rows, "no crew is named"))
    for field, days in (("first", [step.first for step in steps]), ("last", [step.last for step in steps])):
        ordinals = [None if day is None else day.toordinal() for day in days]
        table.add(field, lambda ordinals=ordinals: column("date", ordinals, "the step has no dates"))  # type: ignore[misc]
    return table


def beds_table(scene: Scene) -> Table:
    rows: list[tuple[int, Pocket, Written, int, Any]] = []
    for index, pocket in enumerate(scene.plan.of(Pocket)):
        for number, bed in enumerate(pocket.bed, 1):
            placed = scene.placer.points(pocket, [bed])
            if placed:
                rows.append((index, pocket, bed, number, shapely.points(placed[0])))
    table = Table("beds", len(rows), lambda row: f"bed {rows[row][3]} of {rows[row][1].name}",
                  lambda row: rows[row][1].name, lambda row: rows[row][1].span(rows[row][2]))  # fmt: skip
    table.add("pocket", lambda: column("thing:pockets", [row[0] for row in rows]))
    table.add("number", lambda: column("count", [row[3] for row in rows]))
    table.add("at", lambda: column("place", [row[4] for row in rows]))
    table.add("shape", lambda: column("shape", [row[4] for row in rows]))
    return table


def cut_blocks(scene: Scene) -> list[Block]:
    """Every row, patch and tree: the rows of `cuts`."""
    return [block for block in scene.plan.blocks if block.noun in ("row", "patch", "tree") and not block.broken]


def cuts_table(scene: Scene) -> Table:
    """Every row, patch and tree, as blocks: what is judged by what is written and not tree by tree."""
    blocks = cut_blocks(scene)
    table = _blocks_as_table(scene, "cuts", blocks, Cutting)
    table.add("shape", lambda: _cut_shapes(scene, blocks))
    table.unplaced = ~table.column("shape").mask
    pockets = [scene.row_of("pockets", name) if (name := _pocket_of(scene, block)) else None for block in blocks]
    table.add("pocket", lambda: column("thing:pockets", pockets, "it belongs to no pocket"))
    # `done yes` has no date, and is finished all the same
    table.add("finished", lambda: column("truth", [scene.plan.finished(block) for block in blocks]))
    table.add("counted", lambda: column("truth", [scene.plan.counted(block) for block in blocks]))
    live = {scene.trees.blocks[index].name for index in distinct(scene.trees.block[scene.trees.live])}
    table.add("live", lambda: column("truth", [block.name in live for block in blocks]))
    return table


def _pocket_of(scene: Scene, block: Block) -> str:
    named = scene.plan.word(block, "in")
    if named:
        return named
    trees = scene.trees
    found = trees.pocket[trees.rows_of(block)]
    found = found[found >= 0]
    return scene.plan.of(Pocket)[int(found[0])].name if len(found) else ""


def _cut_shapes(scene: Scene, blocks: list[Block]) -> Column:
    shapes: list[Any] = []
    for block in blocks:
        shape = scene.shape_of(block)
        if shape is None and block.noun == "patch":
            pocket = scene.plan.names.get(scene.plan.word(block, "in"))
            shape = scene.shape_of(pocket) if pocket is not None else None
        if shape is None and block.noun == "tree":
            here = scene.trees.rows_of(block)
            shape = scene.trees.stump[here[0]] if len(here) else None
        shapes.append(shape)
    return column("shape", shapes)


def cuttings_table(scene: Scene) -> Table:
    """The trees of one pocket, or of one row or tree in none: what falls are judged by together. A tree
    `of` a row is one of the row's."""
    trees = scene.trees
    pockets = scene.plan.of(Pocket)
    groups: list[tuple[int, Block, Any]] = []
    held, loose = np.flatnonzero(trees.pocket >= 0), np.flatnonzero(trees.pocket < 0)
    for pocket, inside in alike(trees.pocket[held]):
        groups.append((int(pocket), pockets[pocket], held[inside]))
    rows = [_row_of_tree(scene, block) for block in trees.blocks]
    first: dict[int, int] = {}
    group = np.array([first.setdefault(id(row), index) for index, row in enumerate(rows)], np.intp)[trees.block]
    for block, its_own in alike(group[loose]):
        groups.append((-1, rows[block], loose[its_own]))

    def owner(row: int) -> Block:
        return groups[row][1]

    def single(row: int) -> bool:
        return groups[row][0] < 0 and owner(row).noun == "tree"

    table = Table("cuttings", len(groups), lambda row: owner(row).label, lambda row: owner(row).name,
                  lambda row: owner(row).span())  # fmt: skip
    table.written = lambda row, field: _where(scene.plan, owner(row), field)
    table.add("pocket", lambda: column("thing:pockets", [group[0] if group[0] >= 0 else None for group in groups]))
    table.add("block", lambda: column("name", [owner(row).name for row in range(len(groups))]))
    table.add("single", lambda: column("truth", [single(row) for row in range(len(groups))]))
    table.add("trees", lambda: column("things:trees", [group[2] for group in groups]))
    hinged = (trees.method == "hinge") & trees.counted
    table.add("hinges", lambda: column("things:trees", [group[2][hinged[group[2]]] for group in groups]))
    return table


def _row_of_tree(scene: Scene, block: Block) -> Block:
    """The row that a tree is one `of`; any other block is its own."""
    of = block.first("of") if block.noun == "tree" else None
    row = scene.plan.names.get(str(of.values[0].value)) if of is not None else None
    return row if isinstance(row, Row) else block


def _cutting_of(scene: Scene) -> Column:
    """The cutting that each tree is one of."""
    groups = scene.table("cuttings").column("trees").values
    of = np.zeros(len(scene.trees), np.intp)
    for index, rows in enumerate(groups):
        of[rows] = index
    return Column("thing:cuttings", of)


def slips_table(scene: Scene, slips: list[Slip]) -> Table:
    """Slips as a plural of the rule language."""
    table = Table("slips", len(slips), lambda row: slips[row].thing, lambda row: slips[row].name,
                  lambda row: slips[row].span)  # fmt: skip
    for field in ("kind", "thing", "found", "expected", "hint", "why", "name"):
        kind = _SLIP_FIELDS[field]
        table.add(field, lambda field=field, kind=kind: column(kind, [getattr(slip, field) for slip in slips]))  # type: ignore[misc]
    for field, of_kind in (("size", "length"), ("share", "share"), ("count", "count")):
        facts = [slip.size.value if slip.size and slip.size.kind == of_kind else None for slip in slips]
        table.add(field, lambda facts=facts, of_kind=of_kind: column(of_kind, facts))  # type: ignore[misc]
    # the word that is offered for one misspelt
    offered = [_LIKELY.search(slip.hint) for slip in slips]
    table.add(
        "likely", lambda: column("text", [found[1] if found else None for found in offered], "nothing is like it")
    )
    limits = [slip.limit.value if slip.limit and slip.limit.kind == "length" else None for slip in slips]
    table.add("limit", lambda: column("length", limits))
    places = [None if slip.place is None else shapely.points(slip.place) for slip in slips]
    table.add("place", lambda: column("place", places))
    table.related = lambda row: slips[row].related
    table.add("other", lambda: column("text", [slip.related[0].what if slip.related else "" for slip in slips]))
    return table
