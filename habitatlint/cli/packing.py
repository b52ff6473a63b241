"""`pack`: a pack begun, looked at, wrapped, and the rules in force pinned."""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

from habitatlint import __version__, files
from habitatlint.cli.assembly import review
from habitatlint.cli.project import pack_among_others, project_of
from habitatlint.findings import Level
from habitatlint.language.blocks import UsePack
from habitatlint.language.plan import IncludeTrouble, read_plan
from habitatlint.outputs.packs import Looked, line, render
from habitatlint.outputs.sentences import clean
from habitatlint.packs.archive import ENDING, LARGEST_ARCHIVE, ArchiveTrouble, unwrapped, wrapped
from habitatlint.packs.soundness import UNSAID, look
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.pinning import Pins, Since, since
from habitatlint.rulebook.rules import Pack
from habitatlint.settings import plans_in, settings_for


class Outcome(NamedTuple):
    """What is printed, and the exit status."""

    page: str
    status: int


# -- new -------------------------------------------------------------------------------------------------------

_HEAD = """\
# A pack of rules: this file says what the pack is; every other file that ends in .rules holds a rule or more.
# What stands behind a # is a comment, for people alone. Change what you like, save, and run:
#     habitatlint pack check {path}

pack {name} "{title}"
  version "0.1.0"
  author "{author}"
  licence "{licence}"
  requires "{requires}"
  about "{about}"

# To build on the rules that ship, take the # off lines such as these (`habitatlint rules` lists those rules):
#  builds-on entry
#  set live-hinge-near-entry.clearance 25yd
#  level unused-entry off
"""

_RULE = """\
# One rule, to change and to copy. To copy it: save this file under another name that ends in .rules, give the rule
# another name below, and change its lines one at a time, with `habitatlint pack check {path}` after each.
# `habitatlint words --rules` lists what a rule may look at and measure.

rule bed-near-walk
  # What people read first.
  title "Bed too near a hunter's walk"
  # The figure: its name, its value, the least and the largest that a plan may set, and on whose word it stands:
  # regulation, extension, journal, analogue or common-practice, with the source in double quotes.
  limit room 40yd  10yd..150yd  common-practice "our own; no figure for this is published"
  # What is looked at: every bed, with every walk that comes near enough to matter.
  each b in beds, w in walks within room of b
  # What is measured, and when that is a fault; `error`, `warning` or `note` says how grave. Words in braces are
  # filled in. `many` is for several at once.
  measure gap = distance(b, w)
  per b.pocket, w
  report warning when gap < room
    say "a bed of {{b.pocket}} lies too near {{w}}" many "{{count}} beds of {{b.pocket}} lie too near {{w}}"
  # Where the finding points to in the plan, and another line to look at.
  mark b
  also w "the walk"
  # Why, and what to do about it.
  because "a deer that lies within hearing of the walk is up before the hunter sits down"
  mend "lead the walk around, or make the bed on the far side of the pocket"

# Examples: small plans that show what the rule does. They are tried by `pack check`, so the rule cannot come to say
# something else unseen. A `broken` plan breaks it: carets under a line show where, and what is measured there.
broken
  path lane
    use entry
    line 0,0 200,0
  pocket oak
    outline 80,20 160,20 160,90 80,90
    bed 120,38
        ^^^^^^ warning, measured 38 yd, wanted 40 yd

# A `kept` plan keeps it. Two plans just either side of the figure show best what it is.
kept
  path lane
    use entry
    line 0,0 200,0
  pocket oak
    outline 80,20 160,20 160,90 80,90
    bed 120,42
"""


def begin(path: str) -> Outcome:
    """Begins a pack: a folder with its head and one commented rule."""
    folder = path.rstrip("/" + os.sep)
    name = os.path.basename(os.path.abspath(folder))
    if not re.fullmatch(r"[a-z][a-z0-9]*(-[a-z0-9]+)*", name):
        raise files.FileTrouble(
            f"{clean(name)}: a pack's name is lower-case letters, digits and hyphens: creek-bottoms"
        )
    if any(pack.name == name for pack in review().rulebook.packs):
        raise files.FileTrouble(f"{name}: a pack that ships is called so; give another name")
    shown = shlex.quote(files.shown(folder))
    said = {"path": shown, "name": name, "title": name.replace("-", " ").capitalize(), "requires": _requires()}
    said |= {word: begun for word, (begun, _) in UNSAID.items()}
    files.make_folder(folder)
    files.write_new(os.path.join(folder, "pack.rules"), _HEAD.format(**said))
    files.write_new(os.path.join(folder, "bed-near-walk.rules"), _RULE.format(**said))
    told = (
        f"{clean(files.shown(folder))} is begun: a head and one rule, with comments; look at it with:\n"
        f"    habitatlint pack check {shown}\n"
        f'and take it into a plan beside it with a line: use pack "{name}"\n'
    )
    return Outcome(told, 0)


def _requires() -> str:
    return ".".join(__version__.split(".")[:2])


# -- check -----------------------------------------------------------------------------------------------------


def look_at(path: str, beside: Iterable[str], form: str, failing: Level, colour: bool = False) -> Outcome:
    """Looks at a pack among those that ship, those of the settings it stands under, and others by paths or names."""
    looked, _ = _looked(path, beside)
    return Outcome(render(form, looked, colour), int(looked.worst >= failing))


def _looked(path: str, beside: Iterable[str]) -> tuple[Looked, Pack]:
    pack, others = pack_among_others(path, beside)
    return look(pack, others, others.vocabulary), pack


# -- wrap ------------------------------------------------------------------------------------------------------


def wrap(folder: str, output: str, beside: Iterable[str]) -> Outcome:
    """Wraps a pack that is sound into one archive, the same bytes every time."""
    if not os.path.isdir(folder):
        raise files.FileTrouble(f"{clean(files.shown(folder))}: not a folder; give the folder of a pack")
    looked, pack = _looked(folder, beside)
    faults = [remark for remark in looked.remarks if remark.level is Level.error]
    if faults:
        page = render("text", looked._replace(remarks=tuple(faults), covers=()))
        return Outcome(f"{page}not wrapped: mend what is wrong first\n", 1)
    if not pack.version or pack.span is None:
        raise files.FileTrouble(
            f'{clean(files.shown(folder))}: a pack that is wrapped states its version: version "1.0.0"'
        )
    try:
        data, manifest = wrapped(pack.name, pack.version, pack.title, pack.requires, files.pack_files(folder))
    except ArchiveTrouble as trouble:
        raise files.FileTrouble(f"{clean(files.shown(folder))}: {trouble}") from None
    path = output or f"{pack.name}-{pack.version}{ENDING}"
    if not path.endswith(ENDING):
        raise files.FileTrouble(f"{clean(files.shown(path))}: a wrapped pack ends in {ENDING}")
    _keep(path, data)
    files.write_files({path: data})
    left = "".join(f"{line(remark)}\n" for remark in looked.remarks if remark.kind == "unsaid")
    return Outcome(f"{left}{clean(files.shown(path))}: written\ncontent  {manifest.content}\n", 0)


def _keep(path: str, data: bytes) -> None:
    """A version that went out stays what it was: an archive of other content is not written over."""
    if not os.path.lexists(path):
        return
    shown = clean(files.shown(path))
    try:
        there = unwrapped(files.read_bytes(path, most=LARGEST_ARCHIVE)).manifest
    except ArchiveTrouble:
        raise files.FileTrouble(f"{shown}: stands there already, and is no pack; give another file by -o") from None
    made = unwrapped(data).manifest
    if (there.name, there.version) == (made.name, made.version) and there.content != made.content:
        raise files.FileTrouble(
            f"{shown}: holds {there.name} {there.version} with other content, which plans may be pinned to; raise the "
            "`version` of the pack, or take that file away"
        )


# -- pin -------------------------------------------------------------------------------------------------------


def pin(paths: tuple[str, ...], output: str, *, show: bool) -> Outcome:
    """Pins the rules in force for plans: those that ship, those of their settings, and those the plans take in. With
    `show` nothing is written: told is what is pinned, and what differs."""
    plans = [plan for path in paths or (os.curdir,) for plan in plans_in(path)]
    if not plans:
        raise files.FileTrouble("the settings pass over every plan that is named: give one that they do not exclude")
    book = _in_force(plans)
    place = output or files.pins_for(plans[0]) or os.path.join(_home(plans[0]), files.PINS)
    shown = clean(files.shown(os.path.relpath(place)))
    held = files.read_pins(place) if os.path.lexists(place) else None
    now = book.as_pins
    differs = since(held, book.rules, now, book.now_called) if held is not None else Since()
    if show:
        if held is None:
            raise files.FileTrouble(f"{shown}: no pins yet; write them with `habitatlint pack pin`")
        return Outcome(_listed(shown, held) + _told(differs), 0)
    from habitatlint.packs.pins import written

    files.write_files({place: written(now).encode()})
    count = f"{len(now.rules)} rules of {len(now.packs)} packs"
    return Outcome(f"{shown}: pins {count}\n{_told(differs)}", 0)


def _home(plan: str) -> str:
    """The folder of the settings that a plan stands under; without any, its own."""
    return os.path.dirname(settings_for(plan).path or os.path.abspath(plan))


def _in_force(plans: Iterable[str]) -> Rulebook:
    """All rules in force for some plans, one at least."""
    book: Rulebook | None = None
    for path in plans:
        checker = project_of(path).review
        book = replace(checker.rulebook, pins=None) if book is None else book.with_packs(checker.rulebook.packs)
        source = files.read_source(path)
        if "use" not in source.text:
            continue
        for use in read_plan(source, checker.plan_grammar, checker.find).of(UsePack):
            value = use.head[1]
            try:
                pack = checker.find_pack(str(value.value), use.placed.source)
            except IncludeTrouble as trouble:
                where = f"{use.placed.source.name}:{use.span(value).line}"
                raise files.FileTrouble(clean(f"{where}: pack {value.value}: {trouble}")) from None
            book = book.with_packs([pack])
    assert book is not None
    return book


def _listed(shown: str, pins: Pins) -> str:
    lines = [f"{shown}: {len(pins.rules)} rules of {len(pins.packs)} packs"]
    for pack, version in sorted(pins.packs.items()):
        count = sum(name.startswith(f"{pack}/") for name in pins.rules)
        lines.append(f"  {pack} {version}  {count} rule{'' if count == 1 else 's'}")
    return "".join(f"{clean(line)}\n" for line in lines)


def _told(differs: Since) -> str:
    lines = []
    for name, was, now in differs.packs:
        lines.append(f"pack {name}: {f'{was} then, {now} now' if was and now else 'new' if now else 'gone'}")
    for word, names in (("new", differs.new), ("changed", differs.changed), ("gone", differs.gone)):
        lines += [f"{word}: {name}" for name in names]
    return "".join(f"{clean(line)}\n" for line in lines)
