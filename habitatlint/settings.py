"""A project's settings: `habitatlint.toml`, or the table `[tool.habitatlint]` of a `pyproject.toml`, looked for in the
folder of a plan and in those above it; the nearest that holds any is taken whole.

Read strictly: a key that is not known is told with what it may have meant, a value with what was expected there.
What rules and limits they name is looked up by whoever knows the rules in force.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from habitatlint import files
from habitatlint.findings import Level
from habitatlint.outputs.sentences import clean

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

#: where settings stand, the first before the second
NAME, SHARED, TABLE = "habitatlint.toml", "pyproject.toml", ("tool", "habitatlint")


class SettingsTrouble(files.FileTrouble):
    """Settings that cannot be read, in one line with place and remedy."""


class Handover(NamedTuple):
    """What a handover holds: its sections by name in their order (None: all), the path of the consultant's own
    preface ("" for none), and the paper it is printed on ("" for the usual one)."""

    sections: tuple[str, ...] | None = None
    preface: str = ""
    paper: str = ""


class Settings(NamedTuple):
    """What a project asks; `path` is the file that says so, "" where there is none.

    `today` is the day to judge by (None: the machine's), `failing` the level from which findings fail a run;
    `packs` are as a plan's `use pack` names them, from the folder of the settings; `measures` are distributions that
    bring measures; `exclude` are patterns of plans that are passed over; `levels` and `limits` are by the names of
    rules and limits, as written.
    """

    path: str = ""
    today: date | None = None
    failing: Level | None = None
    packs: tuple[str, ...] = ()
    measures: tuple[str, ...] = ()
    exclude: tuple[str, ...] = ()
    levels: Mapping[str, str] = {}
    limits: Mapping[str, str] = {}
    handover: Handover = Handover()

    @property
    def shown(self) -> str:
        """The file as messages name it."""
        return clean(os.path.relpath(self.path).replace(os.sep, "/")) if self.path else ""

    def excludes(self, plan: str) -> bool:
        """Whether a plan, by its path, is one that the project passes over."""
        if not self.exclude:
            return False
        place = os.path.relpath(os.path.abspath(plan), os.path.dirname(self.path)).replace(os.sep, "/")
        return any(_fits(one, place) for one in self.exclude)


def settings_for(plan: str) -> Settings:
    """The settings in force for a plan, by its path; without any, what is usual. Raises SettingsTrouble."""
    return _in_folder(os.path.dirname(os.path.abspath(plan)))


def plans_in(plan: str) -> list[str]:
    """A plan, or those in a folder, but for those that the settings exclude. Raises FileTrouble."""
    return [path for path in files.plans_in(plan) if not settings_for(path).excludes(path)]


def places_for(plan: str) -> Iterator[str]:
    """Where settings for a plan may stand, the nearest first, as far as the file that is in force."""
    found, folder = settings_for(plan).path, os.path.dirname(os.path.abspath(plan))
    while True:
        for name in (NAME, SHARED):
            path = os.path.join(folder, name)
            yield path
            if path == found:
                return
        above = os.path.dirname(folder)
        if above == folder:
            return
        folder = above


@cache
def _in_folder(folder: str) -> Settings:
    for name in (NAME, SHARED):
        path = os.path.join(folder, name)
        if os.path.isfile(path):
            table = _table(path, name)
            if table is not None:
                return _read(path, table)
    above = os.path.dirname(folder)
    return Settings() if above == folder else _in_folder(above)


def forget() -> None:
    """Forgets what was read, for those that run on while settings change."""
    _in_folder.cache_clear()


def _table(path: str, name: str) -> Mapping[str, Any] | None:
    """The table of settings in a file, None where a shared one holds none."""
    shown = clean(os.path.relpath(path).replace(os.sep, "/"))
    text = files.decode(files.read_bytes(path), shown)
    try:
        held: Any = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        if name == SHARED:
            return None  # another program's to tell
        raise SettingsTrouble(_not_toml(shown, text, str(error))) from None
    if name == NAME:
        return dict(held)
    for part in TABLE:
        held = held.get(part) if isinstance(held, dict) else None
    return held if isinstance(held, dict) else None


_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
#: a line that would be a setting if its name, or its value, stood in double quotes
_BARE = re.compile(r"""\s*(?P<key>[^=#"'\[\]]+?|"[^"]*"|'[^']*')\s*=\s*(?P<value>[^"'\[\]{}#,]*?)\s*(?:#.*)?$""")
_BARE_NAME = re.compile(r"""\s*(?P<key>[^=#"'\[\]]*[^=#"'\[\]\w.\s-][^=#"'\[\]]*?)\s*=""")


def _not_toml(shown: str, text: str, error: str) -> str:
    """What keeps a text from being TOML, at its place, and what to write where that can be guessed."""
    lines = text.splitlines() or [""]
    at = _AT.search(error)
    line, column = (int(at[1]), int(at[2])) if at and at[1] else (len(lines), len(lines[-1]) + 1)
    why = _AT.sub("", error)
    written = lines[line - 1][:200] if line <= len(lines) else ""
    hint, bare, name = "", _BARE.match(written), _BARE_NAME.match(written)
    if name is not None:
        hint = f'; a name with other signs than letters, digits and hyphens stands in double quotes: "{name["key"]}"'
    elif bare is not None and not bare["value"]:
        hint = "; write a value behind the `=`"
    elif bare is not None and not re.match(r"\d{4}-\d", bare["value"]):
        hint = f'; put the value in double quotes: {bare["key"]} = "{bare["value"]}"'
    elif bare is not None:
        hint = "; a day is written 2026-02-10"
    return clean(f"{shown}:{line}:{column}: not TOML: {why[:1].lower()}{why[1:]}{hint}")


@cache
def _shapes() -> tuple[type[BaseModel], type[BaseModel]]:
    """What a file of settings may say, and its table `handover`: known to pydantic, which is imported only here."""
    from typing import Literal

    from pydantic import BaseModel, ConfigDict

    class Strict(BaseModel):
        model_config = ConfigDict(extra="forbid", strict=True, alias_generator=lambda name: name.replace("_", "-"))

    class HandoverTable(Strict):
        sections: list[str] | None = None
        preface: str = ""
        paper: Literal["letter", "legal", "a4"] | None = None

    class SettingsTable(Strict):
        fail_on: Literal["error", "warning", "note"] | None = None
        today: date | None = None
        packs: list[str] = []
        measures: list[str] = []
        exclude: list[str] = []
        levels: dict[str, Literal["error", "warning", "note", "off"]] = {}
        limits: dict[str, str] = {}
        handover: HandoverTable = HandoverTable.model_construct()

    # names of this function, where pydantic looks for what the annotations mean
    SettingsTable.model_rebuild(_types_namespace={"Literal": Literal, "date": date, "HandoverTable": HandoverTable})
    return SettingsTable, HandoverTable


def _read(path: str, table: Mapping[str, Any]) -> Settings:
    from pydantic import ValidationError

    whole, handover = _shapes()
    try:
        read: Any = whole.model_validate(dict(table))
    except ValidationError as trouble:
        raise SettingsTrouble(_told(path, trouble, {(): _keys(whole), ("handover",): _keys(handover)})) from None
    hand = read.handover
    sections = None if hand.sections is None else tuple(hand.sections)
    preface = os.path.join(os.path.dirname(path), hand.preface) if hand.preface else ""
    failing = Level[read.fail_on] if read.fail_on else None
    return Settings(path, read.today, failing, tuple(read.packs), tuple(read.measures), tuple(read.exclude),
                    read.levels, read.limits, Handover(sections, preface, hand.paper or ""))  # fmt: skip


def _keys(shape: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in shape.model_fields.items()]


def _told(path: str, trouble: ValidationError, known: Mapping[tuple[str, ...], list[str]]) -> str:
    """The first fault of settings, in one line."""
    first = trouble.errors()[0]
    at = tuple(str(part) for part in first["loc"] if isinstance(part, str))
    key, place = clean(".".join(at)), place_of(path, at[-1])
    if first["type"] == "extra_forbidden":
        from habitatlint.reading.grammar import did_you_mean, near

        keys = known.get(at[:-1], [])
        hint = did_you_mean(near(at[-1], keys)) or f"; known are {', '.join(keys)}"
        return f"{place}: no setting is called `{key}`{hint}"
    return f"{place}: `{key}`: {first['msg'][0].lower()}{first['msg'][1:]}{_written_so(at, first)}"


def _written_so(at: tuple[str, ...], trouble: Mapping[str, Any]) -> str:
    """How to write a setting whose value is of another type than it should be; "" where that is plain."""
    given = trouble["input"]
    if trouble["type"] == "date_type" and isinstance(given, str):
        return f"; write it without quotes: {at[-1]} = 2026-02-10"
    if at[0] in ("limits", "levels") and isinstance(given, dict) and given:
        name, value = next(iter(given.items()))
        written = value if isinstance(value, str) else ("25yd" if at[0] == "limits" else "note")
        return f'; put the whole name in double quotes: "{clean(f"{at[-1]}.{name}")}" = "{clean(written)}"'
    if trouble["type"] != "string_type":
        return ""
    if at[0] == "limits":
        return '; put it in double quotes with its unit, as a plan writes it: "25yd"'
    return "; put it in double quotes"


def place_of(path: str, key: str) -> str:
    """Where settings say a key: the file, and the line if one begins so."""
    shown = clean(os.path.relpath(path).replace(os.sep, "/"))
    lines = files.decode(files.read_bytes(path), shown).splitlines()
    begins = re.compile(rf"""\s*\[*(?:[\w.-]*\.)?["']?{re.escape(key)}["']?\s*[=\].]""")
    number = next((number for number, line in enumerate(lines, 1) if begins.match(line)), 0)
    return f"{shown}:{number}" if number else shown


def as_lines(settings: Settings) -> Iterator[tuple[str, str]]:
    """What settings say of rules, each as a line that a plan could say, with the key that says it. Raises
    SettingsTrouble for what is no name or no value at all."""
    for word, table in (("level", settings.levels), ("set", settings.limits)):
        for name, value in table.items():
            key = f"{'levels' if word == 'level' else 'limits'}.{clean(name)}"
            place = place_of(settings.path, name)
            if not re.fullmatch(r"[a-z0-9./-]+", name):
                raise SettingsTrouble(f"{place}: `{key}`: rules have names of lower-case letters and hyphens")
            if not re.fullmatch(r"[^\n\r#\"\\]+", value):
                raise SettingsTrouble(f'{place}: `{key}`: write a value as a plan would, such as "25yd"')
            yield key, f"{word} {name} {value}"


def _fits(glob: str, place: str) -> bool:
    """Whether a path fits a pattern: `*` for anything in a name, `**/` for any folders, `?` for one letter; a folder
    stands for all that is in it. Takes one look at the path for each part of the pattern, whatever the pattern is."""
    ends = {0}  # how far into the path the pattern's parts so far may reach
    for part in re.split(r"(\*\*/|\*\*|\*|\?)", glob.removeprefix("./").rstrip("/")):
        least = min(ends, default=len(place))
        if part == "**/":
            ends |= {at + 1 for at in range(least, len(place)) if place[at] == "/"}
        elif part == "**":
            ends = set(range(least, len(place) + 1)) if ends else ends
        elif part == "*":
            for at in range(least, len(place)):
                if at in ends and place[at] != "/":
                    ends.add(at + 1)
        elif part == "?":
            ends = {at + 1 for at in ends if place[at : at + 1] not in ("", "/")}
        elif part:
            ends = {at + len(part) for at in ends if place.startswith(part, at)}
    return any(at == len(place) or place[at] == "/" for at in ends)
