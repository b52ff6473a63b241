"""`habitatlint`: its commands and their exit status."""

from __future__ import annotations

import contextlib
import gc
import os
import shlex
import sys
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from habitatlint import __version__
from habitatlint.cli.days import judged_by

if TYPE_CHECKING:
    from habitatlint.cli.project import Project

#: exit status: nothing at or above the failing level; findings; the command could not do its work
CLEAN, FOUND, FAILED = 0, 1, 2


def _tell(trouble: object) -> None:
    """Tells of what cannot be done, with nothing in it that could steer a terminal: a file may be called anything."""
    from habitatlint.outputs.sentences import clean

    click.echo(f"habitatlint: {clean(str(trouble))}", err=True)


class _Group(click.Group):
    """Keeps the user's mistake and our bug apart."""

    def main(self, *args: Any, **kwargs: Any) -> Any:
        from habitatlint.files import FileTrouble

        try:
            return super().main(*args, **kwargs)
        except FileTrouble as trouble:
            _tell(trouble)
        except BrokenPipeError:
            # the reader of our output has gone: nothing is left to say, and nothing to flush to
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        except RecursionError:
            click.echo("habitatlint: the text nests too deeply to be read; simplify it", err=True)
        except Exception as error:  # the last line of defence: a bug of ours, told as ours
            click.echo(
                f"habitatlint: a fault of this program, not of your plan: {type(error).__name__}: {error}; "
                f"please report it with the plan (habitatlint {__version__}); HABITATLINT_DEBUG=1 shows more",
                err=True,
            )
            if os.environ.get("HABITATLINT_DEBUG"):
                raise
        sys.exit(FAILED)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="habitatlint")
def main() -> None:
    """Checks plans of deer habitat before the saw does.

    A plan is a text file that ends in .habitat; begin one with `habitatlint new my-farm.habitat`.
    """


def _colour() -> bool:
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


@main.command()
@click.argument("plans", nargs=-1, required=True, metavar="PLAN...")
@click.option("--as", "form", type=click.Choice(["text", "gnu", "json", "sarif"]), default="text", show_default=True,
              help="How findings are shown.")  # fmt: skip
@click.option("--name", default="standard-input.habitat", show_default=True, help="What a plan read from - is called.")
@judged_by()
@click.option("--fail-on", type=click.Choice(["error", "warning", "note"]),
              help="The level from which findings fail the command; that of the settings, or error.")  # fmt: skip
@click.option("--baseline", default="", metavar="FILE", help="Tell only what is not among the findings in FILE.")
@click.option("--write-baseline", default="", metavar="FILE", help="Accept what is found: write it to FILE.")
@click.option("--changed", is_flag=True,
              help="PLANs are files that changed: those without a head are judged in the plans that include them, "
              "looked for here and below.")  # fmt: skip
@click.option("--jobs", type=click.IntRange(1, 1024), metavar="N",
              help="Judge N plans at once; as many as are worth it if left out.")  # fmt: skip
@click.option("--no-cache", "anew", is_flag=True, help="Judge plans anew that have not changed since they were judged.")
def check(
    plans: tuple[str, ...],
    form: str,
    name: str,
    today: date | None,
    fail_on: str | None,
    baseline: str,
    write_baseline: str,
    changed: bool,
    jobs: int | None,
    anew: bool,
) -> None:
    """Read plans (files, folders, or - for standard input) and tell what is wrong with them.

    Exit status: 0 nothing at or above the failing level, 1 findings, 2 the command could not do its
    work.
    """
    if baseline and write_baseline:
        raise click.UsageError("give --baseline or --write-baseline, not both")
    # one pass over a few plans makes little to collect: do not look for it at every turn
    gc.set_threshold(200_000, 20, 20)
    from habitatlint.cli import checking
    from habitatlint.cli.many import Way
    from habitatlint.cli.progress import Progress
    from habitatlint.findings import Level

    failing = Level[fail_on] if fail_on else None
    with Progress("plans judged") as progress:
        wanted = checking.Wanted(form, name, today, failing, changed, baseline, write_baseline, _colour(),
                                 timed=sys.stdout.isatty(), way=Way(jobs, not anew, progress))  # fmt: skip
        outcome = checking.check_plans(plans, wanted)
    click.echo(outcome.page, nl=False)
    for line in outcome.troubles:
        _tell(line)
    gc.freeze()  # the process ends here: nothing is worth looking through again
    sys.exit(outcome.status)


@main.command()
@click.argument("name", required=False)
@click.option("--page", "path", default="", metavar="FILE", help="Write all of them as one page for a browser, .html.")
@click.option("--at", "place", default="", metavar="PLAN:LINE",
              help="Tell why the rule fires there or not; without a NAME, every rule that looked there.")  # fmt: skip
@click.option("--as", "form", type=click.Choice(["text", "json"]), default="text", show_default=True,
              help="How they are shown.")  # fmt: skip
@judged_by()
def rules(name: str | None, path: str, place: str, form: str, today: date | None) -> None:
    """List the rules in force here, or show one of them whole: what, why, limits, source, examples, mends.

    Levels and limits are those that hold by the settings of this folder; where they are not the rule's own, who set
    them and what the rule's own is stands beside them.

    With --at, tell why a rule did or did not fire at a line of a plan: what it looked at there, which filters that
    passed, what was measured, and who set the limit.
    """
    if place:
        from habitatlint.cli.explaining import explain
        from habitatlint.rulebook.explaining import Unanswerable

        if path:
            raise click.UsageError("give --page or --at, not both")
        try:
            click.echo(explain(name or "", place, form, today), nl=False)
        except Unanswerable as trouble:
            _tell(trouble)
            sys.exit(FAILED)
        return
    from habitatlint.cli.project import project_of
    from habitatlint.outputs.rules import as_json, listing, page
    from habitatlint.reading.grammar import did_you_mean

    project = project_of(os.path.join(os.curdir, "plan"))  # by the settings of this folder
    checker, held = project.review, project.in_force
    book = held.book
    if path:
        from habitatlint.cli.ruling import write_page

        if name is not None:
            raise click.UsageError("give --page or the name of a rule, not both")
        click.echo(write_page(path, checker, held.said))
        return
    if name is None:
        click.echo(listing(book, held.said) if form == "text" else as_json(book.rules, held), nl=False)
        return
    rule = book.find(name)
    if rule is None:
        from habitatlint.cli.ruling import used_by_a_plan

        hint = used_by_a_plan(name, checker) or did_you_mean(book.like(name)) or "; `habitatlint rules` lists them"
        _tell(f"no rule is called `{name}`{hint}")
        sys.exit(FAILED)
    click.echo(page(rule, book, held.said) if form == "text" else as_json([rule], held), nl=False)


@main.command()
@click.argument("noun", required=False)
@click.option("--rules", "of_rules", is_flag=True, help="Show what rules may look at, and the lines they may have.")
def words(noun: str | None, of_rules: bool) -> None:
    """List the blocks of the plan language, or show what one of them may say."""
    from habitatlint import files

    if of_rules:
        from habitatlint.cli.project import measures_for
        from habitatlint.editor.rulefiles import HEADS, PACK_LINES, RULE_LINES  # as an editor tells them
        from habitatlint.outputs.words import rule_lines, rule_listing

        vocabulary = measures_for(os.path.join(os.curdir, "plan"))  # by the settings of this folder
        grammar = files.grammar_texts()["rules"]
        click.echo(f"{rule_listing(vocabulary)}\n{rule_lines(grammar, RULE_LINES, PACK_LINES, HEADS)}", nl=False)
        return
    from habitatlint.language.plan import LAYOUT, plan_grammar
    from habitatlint.language.reference import block_of
    from habitatlint.outputs.words import block_page, listing, single_page
    from habitatlint.reading.grammar import did_you_mean, near

    if noun is None:
        click.echo(listing(), nl=False)
        return
    if single := single_page(noun):
        click.echo(single, nl=False)
        return
    block = block_of(noun)
    if block is None:
        likely = near(noun, LAYOUT.nouns)
        hint = did_you_mean(likely) or "; `habitatlint words` lists them"
        _tell(f"no block is called `{noun}`{hint}")
        sys.exit(FAILED)
    click.echo(block_page(block, files.grammar("plan", plan_grammar)), nl=False)


@main.command()
@click.argument("path", metavar="FILE", required=False)
@click.option("--title", default="", help="What the property is called.")
@click.option("--from", "walk", default="", metavar="WALK",
              help="Begin with what was walked: a GPX, KML or GeoJSON file, as `import` reads it.")  # fmt: skip
@click.option("--template", default="", metavar="NAME", help="The lie of the land; forty-acres if left out.")
@click.option("--list", "listed", is_flag=True, help="List the templates.")
def new(path: str | None, title: str, walk: str, template: str, listed: bool) -> None:
    """Begin a plan: write a commented starter plan to FILE, which checks clean.

    With --from, what was walked becomes its blocks, and what a plan needs besides stands below them as comments.
    """
    from habitatlint import files
    from habitatlint.cli import starter

    if listed:
        click.echo(starter.listing(), nl=False)
        return
    if path is None:
        raise click.UsageError("give the FILE that the plan is written to, or --list")
    if not path.endswith(files.PLAN_ENDING):
        path += files.PLAN_ENDING
    template = template or starter.USUAL
    if walk:
        from habitatlint.cli.importing import tell

        begun = starter.walked(walk, title, template, date.today())
        files.write_new(path, begun.text)
        tell(begun.told, [os.path.basename(walk)])
    else:
        files.write_new(path, starter.starter(title or starter.title_of(path), template))
    click.echo(f"{path} is begun; open it in an editor, then: habitatlint check {shlex.quote(path)}")


@main.command("map")
@click.argument("plan", metavar="PLAN")
@click.option("-o", "output", required=True, metavar="FILE",
              help="What is written, by its ending: .pdf, .svg, .png, or .html for a page.")  # fmt: skip
@click.option("--paper", metavar="SIZE",
              help="letter, legal, tabloid, a4 or a3; letter if left out, a4 for a plan in metres.")  # fmt: skip
@click.option("--landscape/--portrait", default=None, help="How the paper lies; as the map is larger, if left out.")
@click.option("--scale", metavar="SCALE", help="Such as '1:2400' or '1 in = 200 ft'; on one sheet if left out.")
@click.option("--pocket", metavar="NAME", help="An enlargement of one pocket.")
@click.option("--wind-from", "wind", metavar="WIND", help="Draw the scent on a wind from one of sixteen points: SE.")
@judged_by()
def map_(
    plan: str,
    output: str,
    paper: str | None,
    landscape: bool | None,
    scale: str | None,
    pocket: str | None,
    wind: str | None,
    today: date | None,
) -> None:
    """Draw a plan to scale: on paper (PDF, SVG, PNG), or as a page for a browser.

    A scale that one sheet does not hold gives several, with match lines. Findings are numbered at their place; they
    do not change the exit status: 0 drawn, 2 the command could not do its work.
    """
    from habitatlint.cli import maps
    from habitatlint.outputs.map.sheets import Unprintable

    try:
        wanted = maps.Wanted(output, paper or "", landscape, scale, pocket or "", wind, today)
        for line in maps.draw_map(plan, wanted):
            click.echo(line)
    except Unprintable as trouble:
        _tell(trouble)
        sys.exit(FAILED)


@main.command()
@click.argument("plan", metavar="PLAN")
@click.option("--as", "form", type=click.Choice(["text", "gnu"]), default="text", show_default=True,
              help="How findings are shown.")  # fmt: skip
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="The port of the page; a free one if left out.")
def watch(plan: str, form: str, port: int) -> None:
    """Check a plan at each save, and show its map on a page that only this machine can open.

    The page refreshes itself and keeps the last good map while a line is half typed. Ctrl-C ends it, with exit
    status 0.
    """
    with contextlib.suppress(KeyboardInterrupt):  # a watch ends so
        from habitatlint.cli import watching
        from habitatlint.cli.serving import PortTrouble

        try:
            watching.watch(plan, form, colour=_colour(), port=port)
        except PortTrouble as trouble:
            _tell(trouble)
            sys.exit(FAILED)


@main.command()
@click.argument("plans", nargs=-1, required=True, metavar="PLAN...")
@click.option("--all", "every", is_flag=True, help="Make every proven mend without asking.")
@click.option("--patch", "as_patch", is_flag=True, help="Change nothing: print what all would change, for `git apply`.")
@click.option("--why", is_flag=True, help="Change nothing: tell of each mend whether it clears, or at what it failed.")
@click.option("--from", "least", type=click.Choice(["error", "warning", "note"]), default="warning", show_default=True,
              help="The level of findings from which mends are made.")  # fmt: skip
@click.option("--rule", default="", metavar="NAME", help="Only the mends of one rule.")
@judged_by()
def mend(
    plans: tuple[str, ...], every: bool, as_patch: bool, why: bool, least: str, rule: str, today: date | None
) -> None:  # fmt: skip
    """Make mends in plans: those that were tried, clear their finding and bring no other.

    Each is shown with what it would change, and asked for. Nothing that is done is changed, no comment is lost, and
    for people's safety no fall or method is touched. Exit status: 0 nothing was changed, 1 something was (or, as a
    patch, would be), 2 the command could not do its work.
    """
    from habitatlint.cli import mending
    from habitatlint.findings import Level

    how = mending.How(every, as_patch, why, rule, Level[least])
    changed, troubles = mending.mend(plans, today, how)
    for line in troubles:
        _tell(line)
    sys.exit(FAILED if troubles else FOUND if changed else CLEAN)


@main.command("format")
@click.argument("plans", nargs=-1, required=True, metavar="PLAN...")
@click.option("--check", is_flag=True, help="Change nothing: show as a diff what would change.")
def format_(plans: tuple[str, ...], check: bool) -> None:
    """Lay plans (files, folders, or - for standard input) out in the standard form.

    Words, order and comments stay, and so do blocks that cannot be read. Exit status: 0 done, or nothing to do; 1 with
    --check, something would change; 2 the command could not do its work.
    """
    from habitatlint.cli import formatting

    changed, troubles = formatting.format_plans(plans, check=check)
    for line in troubles:
        _tell(line)
    sys.exit(FAILED if troubles else FOUND if check and changed else CLEAN)


@main.command("language-server")
@click.option(
    "--stdio", is_flag=True, hidden=True, help="Standard streams, as some editors ask for; there is no other way."
)
def language_server(stdio: bool) -> None:
    """Serve an editor by the Language Server Protocol on standard input and output.

    An editor starts this by itself; `examples/editors` has the lines that tell it to.
    """
    try:
        from habitatlint.editor.serving import serve
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in ("pygls", "lsprotocol"):
            raise
        click.echo("habitatlint: an editor needs one part more: pip install 'habitatlint[editor]'", err=True)
        sys.exit(FAILED)

    project = _project_here()
    sys.exit(serve(project.review, project.policy))


def _project_here() -> Project:
    """The project of the folder that an editor starts its server in; where its settings cannot be read, that is said,
    and plans are judged as is usual."""
    from habitatlint.cli.project import project_of, without_settings
    from habitatlint.settings import SettingsTrouble

    try:
        return project_of(os.path.join(os.curdir, "plan"))
    except SettingsTrouble as trouble:
        _tell(trouble)
        return without_settings()


def _take_in() -> None:
    """The further commands, declared in a file of their own."""
    from habitatlint.cli.handing import COMMANDS

    for command in COMMANDS:
        main.add_command(command)


_take_in()
