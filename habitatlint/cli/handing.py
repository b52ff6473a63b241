"""Commands of what is handed over and taken in, declared: `work`, `tally`, `winds`, `compare`, `import`, `export`.

Each is a name, its options and one call; what it does stands in a file of its own, imported when it is run.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from datetime import date

import click

from habitatlint.cli.days import day, judged_by

#: exit status of a command that could not do its work
FAILED = 2
Command = Callable[..., None]


def on_paper(*further: str) -> Callable[[Command], Command]:
    """The options that every paper has; `further` are the endings of its own files."""
    endings = ", ".join((".txt", ".csv", ".pdf", ".html", *further))

    def take(command: Command) -> Command:
        for option in (
            judged_by(),
            click.option("--paper", type=click.Choice(["letter", "a4", "legal"]),
                         help="What it is printed on; letter if left out, a4 for a plan in metres."),
            click.option("--as", "form", type=click.Choice(["text", "csv"]), default="text", show_default=True,
                         help="How it is shown where no file is given."),
            click.option("-o", "output", default="", metavar="FILE", help=f"Write it, by its ending: {endings}."),
        ):  # fmt: skip
            command = option(command)
        return command

    return take


@contextlib.contextmanager
def in_one_line() -> Iterator[None]:
    """What cannot be given out is told in one line, with exit status 2."""
    from habitatlint.cli.papers import Unwritten
    from habitatlint.outputs.sentences import clean

    try:
        yield
    except Unwritten as trouble:
        click.echo(f"habitatlint: {clean(str(trouble))}", err=True)
        sys.exit(FAILED)


@click.command()
@click.argument("plan", metavar="PLAN")
@on_paper(".ics for a calendar", ".habitat with --ticked")
@click.option("--step", type=float, metavar="NUMBER", help="Only one step of the order of work.")
@click.option("--crew", default="", metavar="NAME", help="Only what one crew does.")
@click.option("--left", is_flag=True, help="Leave out what is done already.")
@click.option("--ticked", default="", metavar="BOXES",
              help="Boxes that were ticked, such as 3,7-9, or names: write the as-built plan to FILE.")  # fmt: skip
@click.option("--on", "done_on", callback=day, metavar="DATE",
              help="The day on which what is ticked was done; the day judged by if left out.")  # fmt: skip
@click.option("--sheet", default="", metavar="MARK",
              help="The four signs of the sheet that was ticked, to be sure of its boxes.")  # fmt: skip
def work(
    plan: str, output: str, form: str, paper: str | None, today: date | None, step: float | None, crew: str, left: bool,
    ticked: str, done_on: date | None, sheet: str,
) -> None:  # fmt: skip
    """Order of work and cut list: by step and crew, what could hurt people first, with numbered boxes to tick.

    Whatever was ticked goes back into the plan: --ticked writes a copy in which that is `done`, as the ground was
    built. Findings do not change the exit status: 0 given, 2 the command could not do its work.
    """
    from habitatlint.cli import working

    wanted = working.Asked(output, form, paper or "", today, step, crew, left)
    with in_one_line():
        if ticked:
            working.tick(plan, wanted, ticked, done_on, sheet)
        else:
            working.give_work(plan, wanted)


@click.command()
@click.argument("plan", metavar="PLAN")
@on_paper()
@click.option("--quick", is_flag=True, help="Leave out what each step clears: it takes a judgement of the plan a step.")
def tally(plan: str, output: str, form: str, paper: str | None, today: date | None, quick: bool) -> None:
    """What a plan takes and gives: trees, basal area, cover, sun, wood, herbicide, hours and money.

    By pocket, step and the whole property; money only by `rates` that the plan gives with year and source. Last, what
    each step clears of what `check` finds, the gravest first. Exit status: 0 given, 2 the command could not do its
    work.
    """
    from habitatlint.cli.tallying import Asked, give_tally

    with in_one_line():
        give_tally(plan, Asked(output, form, paper or "", today, not quick))


@click.command()
@click.argument("plan", metavar="PLAN")
@on_paper()
@click.option("--stand", default="", metavar="NAME", help="Only one stand.")
@click.option("--every-sit", is_flag=True,
              help="Tell of morning, evening and all day for every stand, whatever the plan says.")  # fmt: skip
def winds(
    plan: str, output: str, form: str, paper: str | None, today: date | None, stand: str, every_sit: bool
) -> None:  # fmt: skip
    """Every stand by every wind: clean, or what the scent of stand and walks comes to, with the share of the hours.

    A PDF or a page has sixteen small maps of each stand. What is told here of the winds that a stand lists is what
    `check` finds fault with. Exit status: 0 given, 2 the command could not do its work.
    """
    from habitatlint.cli.winds import Asked, give_winds

    with in_one_line():
        give_winds(plan, Asked(output, form, paper or "", today, stand, every_sit))


@click.command()
@click.argument("plan", metavar="PLAN")
@click.option("-o", "output", default="", metavar="FILE",
              help="Write it, by its ending: .html, .pdf or .txt; printed if left out.")  # fmt: skip
@click.option("--sections", metavar="NAMES", help="Only these, by commas and in this order; --list names them.")
@click.option("--preface", default="", metavar="FILE", help="Your own words to the owner: a plain text file.")
@click.option("--paper", type=click.Choice(["letter", "a4", "legal"]),
              help="What it is printed on; letter if left out, a4 for a plan in metres.")  # fmt: skip
@judged_by()
@click.option("--list", is_flag=True, is_eager=True, expose_value=False, help="List the sections, and do nothing.",
              callback=lambda context, parameter, value: _sections(context) if value else None)  # fmt: skip
def handover(
    plan: str, output: str, sections: str | None, preface: str, paper: str | None, today: date | None
) -> None:  # fmt: skip
    """The whole deliverable of a plan on one paper: map, what is done where and why, order of work, cut list, tally,
    winds, findings, cautions, glossary and sources.

    What could hurt people is always told, whatever sections are chosen. Sections, preface and paper may also stand in
    the project's settings. Exit status: 0 given, 2 the command could not do its work.
    """
    from habitatlint.cli.handing_over import Asked, hand_over

    with in_one_line():
        hand_over(plan, Asked(output, sections, preface, paper or "", today))


def _sections(context: click.Context) -> None:
    from habitatlint.outputs.papers.handover import SECTIONS

    click.echo("\n".join(SECTIONS))
    context.exit()


@click.command("import")
@click.argument("paths", nargs=-1, required=True, metavar="FILE...")
@click.option("--into", default="", metavar="PLAN", help="Add to the end of this plan what is not in it yet.")
@click.option("-o", "output", default="", metavar="PLAN", help="Begin this plan; printed if left out.")
@click.option("--tolerance", default="", metavar="LENGTH",
              help="How far a thinned line may lie from the walked one; 3yd if left out, 0 thins nothing.")  # fmt: skip
@click.option("--units", type=click.Choice(["yd", "ft", "m"]), help="Of a new plan; yd if left out.")
@click.option("--title", default="", help="Of a new plan; that of the file if left out.")
@click.option("--words", is_flag=True, help="List the words that say what a thing is, and do nothing.",
              is_eager=True, expose_value=False,
              callback=lambda context, parameter, value: _words(context) if value else None)  # fmt: skip
def import_(paths: tuple[str, ...], into: str, output: str, tolerance: str, units: str | None, title: str) -> None:
    """Waypoints, tracks and areas become blocks of a plan: GPX, KML, KMZ, GeoJSON, and what GDAL reads.

    What `export` wrote comes back as it was; so does what says its `noun`, with the properties of that block. Else
    words tell what a thing is, looked for in its type, symbol, name and folder: the last word that is known, and
    nothing behind `by`, `at`, `to` and the like, so that "clover plot by the gate" is a food plot. A walk that ends at
    its start is an area where its word is one of an area. What has no such word becomes a `place`, or if
    it is a line or an area a `task`, and is told. A "snag" or "hung tree" becomes a `tree`. Names are
    made unique, what people call a thing stays its title, and points are written east,north of the anchor.
    `import --words` lists the words.

    Nothing that stands in a plan is changed by --into. What is left out, or was doubtful, is told, and does not
    change the exit status: 0 done, 2 the command could not do its work.
    """
    from habitatlint.cli import importing

    importing.import_files(paths, importing.Wanted(into, output, tolerance, units or "", title))


def _words(context: click.Context) -> None:
    from habitatlint.exchange.naming import explanation

    click.echo(explanation(), nl=False)
    context.exit()


@click.command()
@click.argument("before", metavar="BEFORE")
@click.argument("after", metavar="AFTER")
@on_paper()
@click.option("--least", default="", metavar="LENGTH",
              help="Only count what lies less far off than this, such as 5yd: what a receiver is out by.")  # fmt: skip
def compare(
    before: str, after: str, output: str, form: str, paper: str | None, today: date | None, least: str
) -> None:  # fmt: skip
    """What changed between two plans: a design and what was cut, or last year and this.

    Blocks that came, went, moved, turned or say another thing; trees that came out otherwise; findings that came, went
    and stayed; and a map of both. Both are judged by one day. What changed does not change the exit status: 0 given, 2
    the command could not do its work.
    """
    from habitatlint.cli.comparing import Asked, give_comparison

    with in_one_line():
        give_comparison(before, after, Asked(output, form, paper or "", today, least))


@click.command()
@click.argument("plan", metavar="PLAN")
@click.option("-o", "output", required=True, metavar="FILE",
              help="What is written, by its ending: .gpx, .kml or .geojson.")  # fmt: skip
@click.option("--only", multiple=True, metavar="KIND",
              help="Only things of a kind, such as stand, path or findings; several by commas.")  # fmt: skip
@click.option("--no-findings", is_flag=True, help="Leave out what `check` finds.")
@judged_by()
def export(plan: str, output: str, only: tuple[str, ...], no_findings: bool, today: date | None) -> None:
    """All that a plan places, for a phone, a receiver or a map program: GPX, KML or GeoJSON.

    Stands, places and beds are waypoints, ways and areas tracks; every cut tree is there, and the ground on which it
    will lie; so are findings, by their numbers on the map. `import` gives it back to the centimetre. Findings do not
    change the exit status: 0 written, 2 the command could not do its work.
    """
    from habitatlint.cli import exporting

    exporting.export_plan(plan, exporting.Wanted(output, only, not no_findings, today))


@click.command()
@click.argument("plan", metavar="[PLAN]", default=".")
@click.option("--show", is_flag=True, help="Show them, as is done anyway.")
def settings(plan: str, show: bool) -> None:
    """What holds for a plan, or for this folder: settings, packs, pins, levels and limits, each with its origin."""
    from habitatlint.cli.showing import show_settings

    click.echo(show_settings(plan), nl=False)


@click.group()
def pack() -> None:
    """Packs of rules: begin one, look at it, wrap it to share, and pin the rules in force."""


_WITH = click.option(
    "--with", "beside", multiple=True, metavar="PACK",
    help="A pack that it builds on beside those that ship: a folder, an archive, or a name.",
)  # fmt: skip


@pack.command("new")
@click.argument("path", metavar="NAME")
def pack_new(path: str) -> None:
    """Begin a pack: a folder NAME with its head and one rule, commented so that it can be changed line by line."""
    from habitatlint.cli import packing

    click.echo(packing.begin(path).page, nl=False)


@pack.command("check")
@click.argument("path", metavar="FOLDER|ARCHIVE")
@_WITH
@click.option("--as", "form", type=click.Choice(["text", "gnu", "json"]), default="text", show_default=True,
              help="How it is shown.")  # fmt: skip
@click.option("--fail-on", type=click.Choice(["error", "warning", "note"]), default="warning", show_default=True,
              help="The level from which what is told fails the command.")  # fmt: skip
def pack_check(path: str, beside: tuple[str, ...], form: str, fail_on: str) -> None:
    """Look at a pack by itself: can it be read, do its examples show what they should, can each rule report.

    Also told are rules that stand against each other, figures on nobody's word, mends that clear no example, and which
    rule has which examples. Exit status: 0 nothing at or above the failing level, 1 something, 2 the command could not
    do its work.
    """
    from habitatlint.cli import packing
    from habitatlint.findings import Level

    colour = sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    outcome = packing.look_at(path, beside, form, Level[fail_on], colour)
    click.echo(outcome.page, nl=False)
    sys.exit(outcome.status)


@pack.command("wrap")
@click.argument("folder", metavar="FOLDER")
@_WITH
@click.option("-o", "output", default="", metavar="FILE", help="The archive; NAME-VERSION.pack here if left out.")
def pack_wrap(folder: str, beside: tuple[str, ...], output: str) -> None:
    """Wrap a pack into one archive to hand on, with a manifest and a hash of its content: the same bytes every time.

    A plan takes it in by `use pack "NAME-VERSION.pack"`. Exit status: 0 written, 1 the pack has faults, 2 the command
    could not do its work.
    """
    from habitatlint.cli import packing

    outcome = packing.wrap(folder, output, beside)
    click.echo(outcome.page, nl=False)
    sys.exit(outcome.status)


@pack.command("pin")
@click.argument("plans", nargs=-1, metavar="[PLAN]...")
@click.option("-o", "output", default="", metavar="FILE",
              help="The pins; habitatlint.pins beside the settings if left out.")  # fmt: skip
@click.option("--show", is_flag=True, help="Write nothing: list what is pinned, and what has changed since.")
def pack_pin(plans: tuple[str, ...], output: str, show: bool) -> None:
    """Pin the rules in force for plans (files or folders, those here if left out), as they are today.

    A rule that comes later is judged as a note at most, and told as new; one that changes is told as changed, until
    they are pinned anew. A rule is what it judges and says: its examples and comments may change. Exit status: 0 done,
    2 the command could not do its work.
    """
    from habitatlint.cli import packing

    click.echo(packing.pin(plans, output, show=show).page, nl=False)


#: commands, in the order in which the help lists them
COMMANDS: list[click.Command] = [work, tally, winds, compare, handover, import_, export, settings, pack]
