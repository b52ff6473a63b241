"""The only place that reads and writes disk: plans, packs, pins, the grammar and rules, caches; and that asks which
packs and measures are installed."""

from __future__ import annotations

import codecs
import contextlib
import hashlib
import os
import pickle
import re
import stat
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from typing import TYPE_CHECKING, TypeVar

from habitatlint import __version__
from habitatlint.source import IncludeTrouble, Source

if TYPE_CHECKING:  # a run that remembers all it is asked needs none of them
    from habitatlint.measures.vocabulary import Vocabulary
    from habitatlint.outputs.map.picture import PictureFile
    from habitatlint.reading.grammar import Grammar
    from habitatlint.review import ReadPack
    from habitatlint.rulebook.pinning import Pins
    from habitatlint.rulebook.rules import Pack

#: largest plan or pack file that is read, in bytes
LARGEST_FILE = 8 * 1024 * 1024
#: largest picture, and largest text beside one, in bytes
LARGEST_PICTURE, LARGEST_SIDECAR = 64 * 1024 * 1024, 64 * 1024
#: ending of plans, and of rule files
PLAN_ENDING, RULE_ENDING = ".habitat", ".rules"
#: folders that are never looked into for plans
PASSED_OVER = frozenset({".git", ".hg", ".svn", "node_modules", "__pycache__", ".venv", "venv"})


class FileTrouble(Exception):
    """A file that cannot be read or written, in one line with place and remedy."""


#: files can be locked, and replaced while they are open
POSIX = os.name == "posix"
#: how the name of a file begins that is not yet in its place
TEMPORARY = ".habitatlint-"
#: the package's own folder
HERE = os.path.dirname(os.path.realpath(__file__))


def home(name: str) -> str:
    """A folder that ships with the package: in the installed package first, in the checkout second."""
    for folder in (os.path.join(HERE, "_data", name), os.path.join(os.path.dirname(HERE), name)):
        if os.path.isdir(folder):
            return folder
    raise FileTrouble(f"the folder `{name}` that ships with habitatlint is missing: install it again")


def asset(name: str) -> bytes:
    """A file that ships in the package's `assets`: templates, styles, scripts."""
    try:
        with open(os.path.join(HERE, "assets", name), "rb") as file:
            return file.read()
    except OSError:
        raise FileTrouble(f"the file `{name}` that ships with habitatlint is missing: install it again") from None


def fonts_folder() -> str:
    """The folder of the fonts that ship."""
    return os.path.join(HERE, "assets", "fonts")


def read_source(path: str) -> Source:
    """A text from disk, its encoding mark taken off and its line ends kept.

    Raises FileTrouble with one line for what is missing, too large, or no UTF-8 text.
    """
    name = shown(path)
    return Source(name, decode(read_bytes(path), name))


def read_bytes(path: str, name: str = "", most: int = LARGEST_FILE) -> bytes:
    """The bytes of a plain file, of one that is too large to be decoded only the beginning; raises FileTrouble, which
    calls the file by a name, or as its path is shown."""
    name = name or shown(path)
    try:
        with open(path, "rb", opener=_at_once) as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise FileTrouble(f"{name}: not a plain file; give a plan, a folder, or - for standard input")
            return file.read(most + 1)
    except FileNotFoundError:
        raise FileTrouble(f"{name}: no such file; give the path of a plan or a folder of plans") from None
    except IsADirectoryError:
        raise FileTrouble(f"{name}: a folder, not a file") from None
    except OSError as error:
        raise FileTrouble(f"{name}: cannot be read: {(error.strerror or str(error)).lower()}") from None


def shown(path: str) -> str:
    """A path as sources and messages show it: tidy, with forward slashes."""
    return os.path.normpath(path).replace(os.sep, "/")


def _at_once(path: str, flags: int) -> int:
    """Opens a file without waiting, as a named pipe would have one wait for its writer."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def decode(data: bytes, name: str) -> str:
    """Bytes as text; raises FileTrouble where they are no plan's text."""
    if len(data) > LARGEST_FILE:
        most = LARGEST_FILE // (1024 * 1024)
        raise FileTrouble(f"{name}: larger than {most} MB; split it with `include`")
    if b"\0" in data and not data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise FileTrouble(f"{name}: a binary file, not a plan; plans are text and end in {PLAN_ENDING}")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise FileTrouble(f"{name}:{line}: not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    return text


def encode(text: str, before: bytes) -> bytes:
    """A text as bytes, with the encoding mark if the file had one before."""
    return (codecs.BOM_UTF8 if before.startswith(codecs.BOM_UTF8) else b"") + text.encode("utf-8")


def plans_in(path: str) -> list[str]:
    """A plan file itself, or every plan below a folder, in the order of their paths."""
    if not os.path.isdir(path):
        return [path]
    found = []
    for folder, folders, names in os.walk(path):
        folders[:] = sorted(name for name in folders if name not in PASSED_OVER)
        found += [os.path.join(folder, name) for name in sorted(names) if name.endswith(PLAN_ENDING)]
    if not found:
        shown = path.replace(os.sep, "/")
        raise FileTrouble(f"{shown}: no plans here; plans end in {PLAN_ENDING}")
    return sorted(found)


def find_beside(path: str, source: Source) -> Source:
    """The source that an `include` names: a file in the folder of the including one, or below it."""
    wanted = _path_beside(path, source, "an include")
    try:
        return read_source(wanted)
    except FileTrouble as error:
        raise IncludeTrouble(str(error).partition(": ")[2]) from None


def _path_beside(path: str, source: Source, what: str) -> str:
    """The path of a file that a plan names, in the plan's folder or below it; raises IncludeTrouble."""
    if os.path.isabs(path) or "\\" in path or ":" in path:
        raise IncludeTrouble(f"{what} is a path from this file's folder, with forward slashes")
    folder = os.path.dirname(source.name) or "."
    wanted = os.path.normpath(os.path.join(folder, path))
    root, real = os.path.realpath(folder), os.path.realpath(wanted)
    if os.path.commonpath([root, real]) != root:
        raise IncludeTrouble("it leads out of the plan's folder")
    if not os.path.exists(wanted):
        raise IncludeTrouble("there is no such file")
    return wanted


def find_picture(path: str, source: Source) -> PictureFile:
    """The picture that a plan names, in the plan's folder or below it, with the world file and the .prj that lie
    beside it: for `aerial.png` the first of `aerial.pgw`, `aerial.pngw` and `aerial.wld`, and `aerial.prj`."""
    stem, ending = os.path.splitext(path)
    worlds = [f"{stem}{ending[:2]}{ending[-1:]}w", f"{path}w", f"{stem}.wld"]
    data = _read_beside(path, source, LARGEST_PICTURE)
    beside = {}
    for name in (*worlds, f"{stem}.prj"):
        with contextlib.suppress(IncludeTrouble):
            beside[name] = _read_beside(name, source, LARGEST_SIDECAR).decode("utf-8-sig", "replace")
    world = next((beside[name] for name in worlds if name in beside), "")
    from habitatlint.outputs.map.picture import PictureFile

    return PictureFile(data, world, beside.get(f"{stem}.prj", ""))


def _read_beside(path: str, source: Source, most: int) -> bytes:
    """The bytes of a file beside a plan, at most so many; raises IncludeTrouble."""
    wanted = _path_beside(path, source, "a picture")
    if not os.path.isfile(wanted):
        raise IncludeTrouble("not a plain file")
    try:
        with open(wanted, "rb") as file:
            data = file.read(most + 1)
    except OSError as error:
        raise IncludeTrouble(f"cannot be read: {(error.strerror or str(error)).lower()}") from None
    if len(data) > most:
        raise IncludeTrouble(f"larger than {most // (1024 * 1024)} MB; cut it to the property, or save it as JPEG")
    return data


def cache_folder() -> str | None:
    """A folder of the user's own for caches, readable by nobody else; None where there can be none."""
    base = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    if not os.path.isabs(base):
        return None
    try:
        os.makedirs(base, exist_ok=True)
    except OSError:
        return None
    return _own_folder(os.path.join(base, "habitatlint"))


def _own_folder(folder: str) -> str | None:
    """A folder of the user's own, made where there is none; None where others may look into it, or it cannot be."""
    try:
        with contextlib.suppress(FileExistsError):
            os.mkdir(folder, 0o700)
        held = os.stat(folder)
    except OSError:
        return None
    if not stat.S_ISDIR(held.st_mode) or (POSIX and (held.st_uid != os.getuid() or held.st_mode & 0o077)):
        return None
    return folder


class Shelf:
    """Bytes that are kept from one run to the next, by a key that says all they hang on, in the user's own folder.

    What is read is what was put there whole by this user under this key: a file of another owner, one that others may
    write, a link, or one whose bytes are not those of its seal is none. The seal tells of accidents; against others
    stand owner and mode. Where nothing can be kept, nothing is, and no run fails for it. Two runs may use one shelf at
    once: each file comes to its place whole.
    """

    #: bytes of a seal, and seconds after which what is used counts as used again
    SEAL, DAY = 32, 86_400

    def __init__(self, kind: str, most: int) -> None:
        """`kind` is the name of its folder; `most` are the bytes that it holds."""
        base = cache_folder()
        self._folder = _own_folder(os.path.join(base, kind)) if base is not None else None
        self._most = most
        self._put = False

    def get(self, key: str) -> bytes | None:
        """What was put there by a key; None where there is nothing that can be trusted."""
        if self._folder is None:
            return None
        path = os.path.join(self._folder, key)
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        try:
            handle = os.open(path, flags)
        except OSError:
            return None
        try:
            held = os.fstat(handle)
            if not stat.S_ISREG(held.st_mode) or held.st_size > self._most:
                return None
            if POSIX and (held.st_uid != os.getuid() or held.st_mode & 0o077 or held.st_nlink != 1):
                return None
            with open(handle, "rb", closefd=False) as file:
                data = file.read()
            if time.time() - held.st_mtime > self.DAY:
                os.utime(path)
        except OSError:
            return None
        finally:
            os.close(handle)
        sealed, body = data[: self.SEAL], data[self.SEAL :]
        return body if sealed == _seal(key, body) else None

    def put(self, key: str, body: bytes) -> None:
        """Keeps bytes, if they can be kept."""
        if self._folder is None or len(body) > self._most // 4:
            return
        try:
            replace_file(os.path.join(self._folder, key), _seal(key, body) + body)
            self._put = True
        except OSError:  # a full disk, a folder that may not be written: what comes after would fare no better
            self._folder = None

    def tidy(self) -> None:
        """Throws out what was used longest ago, down to three quarters, where more is kept than may be; and what a run
        that was killed left half-written."""
        if self._folder is None or not self._put:
            return
        with contextlib.suppress(OSError), os.scandir(self._folder) as entries:
            found = []
            for entry in entries:
                with contextlib.suppress(OSError):  # another run may tidy too
                    held = entry.stat(follow_symlinks=False)
                    if entry.name.startswith(TEMPORARY) and time.time() - held.st_mtime > self.DAY:
                        os.unlink(entry.path)
                    else:
                        found.append((held.st_mtime, entry.path, held.st_size))
            total = sum(size for _, _, size in found)
            if total <= self._most:
                return
            for _, path, size in sorted(found):
                if total <= self._most * 3 // 4:
                    break
                with contextlib.suppress(OSError):
                    os.unlink(path)
                total -= size


def _seal(key: str, body: bytes) -> bytes:
    return hashlib.sha256(key.encode() + b"\0" + body).digest()


@cache
def grammar_texts() -> dict[str, str]:
    """The grammars' texts by name."""
    folder = home("grammar")
    names = sorted(name for name in os.listdir(folder) if name.endswith(".lark"))
    return {name.removesuffix(".lark"): read_source(os.path.join(folder, name)).text for name in names}


def grammar(name: str, build: Callable[[dict[str, str], str | None], Grammar]) -> Grammar:
    """A grammar, from its cache in the user's own folder where that is to be had.

    The tables are kept by the content of the grammars and the versions of Python and lark; the
    library reads and writes the file itself and looks the content over again.
    """
    from habitatlint.reading.grammar import PARSER_VERSION

    texts = grammar_texts()
    folder = cache_folder()
    if folder is None:
        return build(texts, None)
    said = "".join(texts.values()) + sys.version + PARSER_VERSION
    key = hashlib.sha256(said.encode()).hexdigest()[:16]
    return build(texts, os.path.join(folder, f"{name}-{key}.grammar"))


def pack_sources(folder: str, shown: str) -> list[Source]:
    """Every rule file of a pack's folder, in the order of their names. Raises FileTrouble, also for a link that leads
    out of the folder, and for more than any pack holds."""
    from habitatlint.packs.archive import LARGEST_IN_ALL, MOST_FILES

    try:
        names = sorted(name for name in os.listdir(folder) if name.endswith(RULE_ENDING))
    except OSError as error:
        raise FileTrouble(f"{shown}: cannot be read: {(error.strerror or str(error)).lower()}") from None
    if len(names) > MOST_FILES:
        raise FileTrouble(f"{shown}: {len(names)} rule files; a pack has {MOST_FILES} at most")
    root, sources, left = os.path.realpath(folder), [], LARGEST_IN_ALL
    for name in names:
        path = os.path.join(folder, name)
        if os.path.islink(path) and os.path.dirname(os.path.realpath(path)) != root:
            raise FileTrouble(f"{shown}/{name}: a link that leads out of the pack's folder; put the file itself there")
        sources.append(Source(f"{shown}/{name}", read_source(path).text))
        left -= len(sources[-1].text)
        if left < 0:
            raise FileTrouble(f"{shown}: its files are larger than {LARGEST_IN_ALL // 2**20} MB together")
    return sources


def shipped_packs(read: ReadPack, fingerprint: str) -> tuple[Pack, ...]:
    """The packs that ship: every folder under `rules/`, listed nowhere.

    They are kept as read in the user's own folder, by the names, sizes and times of their files, of the grammars and
    of the code that reads them, and the `fingerprint` of what they are checked against.
    """
    from habitatlint.reading.grammar import PARSER_VERSION

    base = home("rules")
    names = sorted(name for name in os.listdir(base) if os.path.isdir(os.path.join(base, name)))
    held = [_held(os.path.join(base, name), f"rules/{name}", RULE_ENDING) for name in names]
    said = repr((held, _held(home("grammar"), "grammar", ".lark"), sys.version, PARSER_VERSION, fingerprint,
                 _code_that_reads()))  # fmt: skip
    key = hashlib.sha256(said.encode()).hexdigest()

    def made() -> tuple[Pack, ...]:
        return tuple(read(name, pack_sources(os.path.join(base, name), f"rules/{name}")) for name in names)

    return kept(f"packs-{key[:24]}", made)


#: libraries that what is found hangs on
LIBRARIES = ("lark", "numpy", "scipy", "shapely", "pyproj", "pygeomag", "ephem", "mapbox_earcut")


@cache
def fingerprint() -> str:
    """Changes with anything of this program that a judgement hangs on: its code, the rules and grammars that ship, and
    the libraries it stands on; told by names, sizes and times."""
    from importlib.util import find_spec

    found: list[tuple[str, int, int]] = []
    for room, base in (("code", HERE), ("rules", home("rules")), ("grammar", home("grammar"))):
        for folder, folders, _ in os.walk(base):
            folders[:] = sorted(name for name in folders if name not in PASSED_OVER)
            found += _held(folder, f"{room}/{os.path.relpath(folder, base)}", _OURS)
    for name in LIBRARIES:
        spec = find_spec(name)
        if spec is not None and spec.origin is not None:
            stats = os.stat(spec.origin)
            found.append((spec.origin, stats.st_size, stats.st_mtime_ns))
    return hashlib.sha256(repr((__version__, sys.version, found)).encode()).hexdigest()


#: endings of files that are read when plans are judged
_OURS = (".py", ".lark", RULE_ENDING)


def _held(folder: str, shown: str, ending: str | tuple[str, ...]) -> list[tuple[str, int, int]]:
    """Name, size and time of the files of a folder that end so."""
    with os.scandir(folder) as entries:
        held = [(entry.name, entry.stat()) for entry in entries if entry.name.endswith(ending)]
    return sorted((f"{shown}/{name}", stats.st_size, stats.st_mtime_ns) for name, stats in held)


def _code_that_reads() -> list[tuple[str, int, int]]:
    """The code that what is kept depends on: an edited checkout reads anew."""
    return [one for room in ("reading", "language", "rulebook") for one in _held(os.path.join(HERE, room), room, ".py")]


Kept = TypeVar("Kept")


def kept(name: str, make: Callable[[], Kept]) -> Kept:
    """What was made before under a name that says all it depends on, else made now and kept.

    Kept as a pickle, and so only in a folder that is the user's own and that nobody else may write;
    what cannot be read back is made again.
    """
    folder = cache_folder()
    if folder is None:
        return make()
    path = os.path.join(folder, name)
    # whatever is wrong with what was kept, it is made again
    with contextlib.suppress(Exception), open(path, "rb", opener=_at_once) as file:
        return pickle.load(file)  # type: ignore[no-any-return]
    made = make()
    with contextlib.suppress(OSError):
        replace_file(path, pickle.dumps(made, pickle.HIGHEST_PROTOCOL))
        _forget(folder, name.partition("-")[0])
    return made


def _forget(folder: str, kind: str, most: int = 8) -> None:
    """Takes away the oldest of what is kept of a kind, beyond the newest few."""
    paths = [os.path.join(folder, name) for name in os.listdir(folder) if name.startswith(f"{kind}-")]
    for path in sorted(paths, key=os.path.getmtime)[:-most]:
        os.unlink(path)


def replace_file(path: str, data: bytes) -> None:
    """Puts a file in its place whole or not at all; raises OSError where that cannot be."""
    import tempfile  # felt at every start, and used at few

    handle, temporary = tempfile.mkstemp(dir=os.path.dirname(path), prefix=TEMPORARY)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise


def find_pack(path: str, source: Source, read: ReadPack) -> Pack:
    """The pack that a `use pack` names, read."""
    return read(*find_pack_texts(path, source))


def find_pack_texts(path: str, source: Source) -> tuple[str, list[Source]]:
    """Name and rule files of the pack that a `use pack` names, seen from the plan's folder: a folder of rule files, an
    archive that ends in `.pack`, or by its bare name an installed one. What stands beside the plan goes before what is
    installed. Raises IncludeTrouble."""
    if os.path.isabs(path) or "\\" in path or ":" in path:
        raise IncludeTrouble("a pack is a path from this file's folder, with forward slashes")
    place = os.path.normpath(os.path.join(os.path.dirname(source.name) or ".", path))
    try:
        return _installed(path) if _is_bare(path) and not os.path.exists(place) else pack_texts(place)
    except (FileTrouble, OSError) as error:
        told = str(error)
        raise IncludeTrouble(told.removeprefix(f"{shown(place)}: ")) from None


def pack_texts(path: str) -> tuple[str, list[Source]]:
    """A pack's name, as its folder or archive has it, and its rule files. Raises FileTrouble."""
    from habitatlint.packs.archive import ENDING, LARGEST_ARCHIVE, ArchiveTrouble, unwrapped

    name = shown(path)
    if os.path.isdir(path):
        sources = pack_sources(path, name)
        if not sources:
            raise FileTrouble(f"{name}: the folder has no rule files; they end in {RULE_ENDING}")
        return os.path.basename(os.path.abspath(path)), sources
    if not path.endswith(ENDING) or not os.path.lexists(path):
        missing = f"there is no such {'file' if path.endswith(ENDING) else 'folder'}"
        what = "not a pack" if os.path.exists(path) else missing
        raise FileTrouble(
            f"{name}: {what}; a pack is a folder of {RULE_ENDING} files, or an archive ending in {ENDING}"
        )
    try:
        found = unwrapped(read_bytes(path, most=LARGEST_ARCHIVE))
    except ArchiveTrouble as trouble:
        raise FileTrouble(f"{name}: {trouble}") from None
    rules = sorted(file for file in found.texts if file.endswith(RULE_ENDING))
    return found.manifest.name, [Source(f"{name}/{file}", found.texts[file]) for file in rules]


def pack_files(folder: str) -> dict[str, str]:
    """All that is wrapped of a pack's folder, by name: rule files, LICENSE and README.md. Raises FileTrouble."""
    from habitatlint.packs.archive import BESIDE

    texts = {os.path.basename(source.name): source.text for source in pack_sources(folder, shown(folder))}
    for name in BESIDE:
        path = os.path.join(folder, name)
        if os.path.lexists(path):
            texts[name] = read_source(path).text
    return texts


def packs_beside(folder: str) -> list[str]:
    """Packs in a folder and in those of it, as a plan there names them: folders of rule files, and archives. So many
    entries are looked at, and no more."""
    from habitatlint.packs.archive import ENDING

    found: set[str] = set()
    left = MOST_ENTRIES
    for below in ("", *_folders(folder)):
        with contextlib.suppress(OSError), os.scandir(os.path.join(folder, below)) as entries:
            for entry in entries:
                left -= 1
                if left < 0:
                    break
                path = f"{below}/{entry.name}" if below else entry.name
                if below and entry.name.endswith(RULE_ENDING):
                    found.add(below)
                elif entry.name.endswith(ENDING) or (below and entry.is_dir() and _is_pack(entry.path)):
                    found.add(path)
    # what could not be written between quotes, or names no path here
    return sorted(path for path in found if path.isprintable() and not set(path) & set('"\\:'))


#: so many entries of folders are looked at for packs
MOST_ENTRIES = 1000


def _folders(folder: str) -> list[str]:
    """The folders in a folder that are looked into."""
    try:
        with os.scandir(folder) as entries:
            names = [entry.name for entry in entries if entry.is_dir() and not entry.name.startswith(".")]
    except OSError:
        return []
    return sorted(name for name in names if name not in PASSED_OVER)


def _is_pack(folder: str) -> bool:
    try:
        return any(name.endswith(RULE_ENDING) for name in os.listdir(folder))
    except OSError:
        return False


#: the group of entry points by which a distribution names its packs
PACKS = "habitatlint.packs"


def installed_packs() -> list[str]:
    """The names of the packs that distributions bring, sorted. None of their code is run."""
    from importlib.metadata import entry_points

    return sorted({point.name for point in entry_points(group=PACKS) if _is_bare(point.name)})


def _is_bare(name: str) -> bool:
    return re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name) is not None


def _installed(name: str) -> tuple[str, list[Source]]:
    """An installed pack: a distribution's entry point names the Python package whose folder holds the rule files. They
    are read as data; of that package no code is run, for a plan may ask for this."""
    from importlib.metadata import entry_points
    from importlib.util import find_spec

    points = sorted(entry_points(group=PACKS), key=lambda point: (point.name, point.value))
    point = next((one for one in points if one.name == name), None)
    if point is None:
        from habitatlint.reading.grammar import did_you_mean, near

        known = sorted({one.name for one in points})
        hint = did_you_mean(near(name, known)) or (f"; installed are {', '.join(known)}" if known else "")
        raise FileTrouble(f"there is no such folder, and no installed pack is called so{hint}")
    whose = f"the installed pack `{name}`"
    parts = point.value.strip().split(".")
    if not all(part.isidentifier() for part in parts):
        raise FileTrouble(f"{whose} names no Python package; tell its maker")
    try:
        spec = find_spec(parts[0])  # of the first part alone: to look for another would run the first one's code
    except (ImportError, ValueError):
        spec = None
    for place in (spec.submodule_search_locations if spec is not None else None) or ():
        folder = os.path.join(place, *parts[1:])
        if os.path.isdir(folder) and (sources := pack_sources(folder, shown(folder))):
            return name, sources
    raise FileTrouble(f"{whose} has no rule files where it says; tell its maker, or install it again")


def load_measures(names: Iterable[str], ours: Vocabulary) -> Vocabulary:
    """Our measures and those of installed distributions, by the names that the settings give. Runs their code, so never
    to be called for what a plan or a pack asks. Raises FileTrouble."""
    from importlib.metadata import entry_points

    from habitatlint.packs.measures import GROUP, MeasureTrouble, Notes, joined

    points = sorted(entry_points(group=GROUP), key=lambda point: (point.name, point.value))
    brought: dict[str, Notes] = {}
    for name in names:
        wanted = re.sub(r"[-_.]+", "-", name).lower()
        found = [
            one
            for one in points
            if wanted in (one.name, re.sub(r"[-_.]+", "-", one.dist.name).lower() if one.dist else "")
        ]
        if not found:
            known = sorted({one.dist.name if one.dist else one.name for one in points})
            remedy = f"installed are {', '.join(known)}" if known else "install it first"
            raise FileTrouble(f"no installed distribution called `{name}` brings measures; {remedy}")
        for point in found:
            try:
                brought[f"{name} ({point.value})"] = point.load()
            except Exception as error:  # another's code: whatever it does, this goes on
                why = f"{type(error).__name__}: {error}"
                raise FileTrouble(f"the measures of `{name}` cannot be loaded: {why}; tell its maker") from None
    try:
        return joined(ours, brought)
    except MeasureTrouble as trouble:
        raise FileTrouble(str(trouble)) from None


#: where the pins of a project stand
PINS = "habitatlint.pins"


def pins_for(path: str) -> str:
    """The pins that a plan is held to: the nearest in its folder or above, as a path; "" where there are none."""
    folder = os.path.dirname(os.path.abspath(path))
    while True:
        place = os.path.join(folder, PINS)
        if os.path.isfile(place):
            return place
        above = os.path.dirname(folder)
        if above == folder:
            return ""
        folder = above


def read_pins(path: str) -> Pins:
    """Pins as kept in a file. Raises FileTrouble."""
    from habitatlint.packs.pins import PinsTrouble, read

    name = shown(os.path.relpath(path))
    try:
        return read(decode(read_bytes(path, name), name))
    except PinsTrouble as trouble:
        raise FileTrouble(f"{name}: no pins: {trouble}; write them anew with `habitatlint pack pin`") from None


def make_folder(path: str) -> None:
    """Makes a folder that is not there yet; raises FileTrouble."""
    try:
        os.mkdir(path)
    except FileExistsError:
        raise FileTrouble(f"{shown(path)}: is there already; give another name") from None
    except OSError as error:
        raise _unwritable(path, error) from None


def write_new(path: str, text: str) -> None:
    """Writes a file that is not there yet, whole or not at all."""
    shown = path.replace(os.sep, "/")
    temporary = _beside(path, text.encode())
    try:
        os.link(temporary, path)  # fails where the file is there already, and never half-written
    except FileExistsError:
        raise FileTrouble(f"{shown}: is there already; give another name") from None
    except OSError as error:
        raise _unwritable(path, error) from None
    finally:
        os.unlink(temporary)


def write_files(contents: Mapping[str, bytes]) -> None:
    """Writes files, each whole or not at all, over what stood there. None is put in its place before all of them are
    on the disk; should one still not go there, FileTrouble says which stand already."""
    temporaries: dict[str, str] = {}
    written: list[str] = []
    try:
        for path, data in contents.items():
            if os.path.isdir(path):
                raise FileTrouble(f"{path.replace(os.sep, '/')}: a folder; give the name of a file")
            if os.path.exists(path) and not os.path.isfile(path):  # a device or a pipe would be taken away
                raise FileTrouble(f"{path.replace(os.sep, '/')}: not a plain file; give another name")
            temporaries[path] = _beside(path, data)
        for path, temporary in temporaries.items():
            try:
                os.replace(temporary, path)
            except OSError as error:
                stand = f" (written already: {', '.join(written)})" if written else ""
                raise FileTrouble(f"{_unwritable(path, error)}{stand}") from None
            written.append(path.replace(os.sep, "/"))
    finally:
        for temporary in temporaries.values():
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def rewrite(path: str, before: bytes, after: bytes) -> bool:
    """Puts a file's new bytes in the place of those that were read from it, and says whether anything was to do.

    At any moment the file is the old one or the new one, whole. Links are followed, mode and owner kept. What cannot
    be done, or would lose somebody's work, raises FileTrouble, and the file stays as it is. The one trace that a
    killed run may leave is a file `.habitatlint-...` beside it, which the next one for the same file takes up.
    """
    name = shown(path)
    place = os.path.realpath(path)
    key = hashlib.sha256(os.path.basename(place).encode("utf-8", "surrogateescape")).hexdigest()[:16]
    temporary = os.path.join(os.path.dirname(place), f".habitatlint-{key}")
    if before == after:
        if os.path.lexists(temporary):
            with contextlib.suppress(FileTrouble, OSError), _own(temporary, os.stat(place).st_uid, name):
                pass
        return False
    held = _to_be_replaced(place, before, name)
    if not POSIX:  # no locks there, and no open file is replaced
        replace_file(place, after)
        return True
    with _own(temporary, held.st_uid, name) as handle:
        try:
            _fill(handle, after, held)
            if _to_be_replaced(place, before, name)[:3] != held[:3]:
                raise _changed_meanwhile(name)
            os.replace(temporary, place)
            _settle(os.path.dirname(place))
        except OSError as error:
            raise _unwritable(path, error) from None
    return True


def _to_be_replaced(place: str, before: bytes, name: str) -> os.stat_result:
    """How a file stands that is still as it was read, and may be replaced; raises FileTrouble for another."""
    now = read_bytes(place, name)
    try:
        held = os.stat(place)
    except OSError:
        raise _changed_meanwhile(name) from None
    if held.st_nlink > 1:
        raise FileTrouble(f"{name}: has other names (hard links) that would keep the old text; give it one name")
    if not held.st_mode & 0o222 or not os.access(place, os.W_OK):
        raise FileTrouble(f"{name}: may not be written; make it writable, or work on a copy")
    if now != before:
        raise _changed_meanwhile(name)
    return held


def _changed_meanwhile(name: str) -> FileTrouble:
    return FileTrouble(f"{name}: was changed by another program meanwhile and is left as it is; run this again")


@contextlib.contextmanager
def _own(temporary: str, owner: int, name: str) -> Iterator[int]:
    """A handle on a temporary file, this run's alone: made, or taken up from a run that was killed, be it this
    user's or the owner's. What is not put elsewhere meanwhile is taken away at the end."""
    handle = _locked(temporary, owner, name)
    try:
        yield handle
    finally:
        if _is_at(handle, temporary):
            os.unlink(temporary)
        os.close(handle)


def _locked(temporary: str, owner: int, name: str) -> int:
    import fcntl

    while True:
        try:
            handle = os.open(temporary, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK, 0o600)
        except OSError as error:
            why = (error.strerror or str(error)).lower()
            raise FileTrouble(
                f"{name}: cannot be rewritten, for the file `{os.path.basename(temporary)}` cannot be made beside it "
                f"({why}); make the folder writable, or work on a copy"
            ) from None
        try:
            held = os.fstat(handle)
            if not stat.S_ISREG(held.st_mode) or held.st_nlink > 1 or held.st_uid not in (os.geteuid(), owner):
                raise FileTrouble(f"{name}: `{os.path.basename(temporary)}` beside it is in the way; take it away")
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)  # ends with its process, however that ends
            except BlockingIOError:
                raise FileTrouble(
                    f"{name}: is being rewritten by another run; wait for it and run this again"
                ) from None
            except OSError:  # a file system without locks
                pass
        except BaseException:
            os.close(handle)
            raise
        if _is_at(handle, temporary):
            return handle
        os.close(handle)  # put in its place, or taken away, before it was locked


def _is_at(handle: int, path: str) -> bool:
    """Whether an open file is the one that stands at a path."""
    try:
        return os.path.samestat(os.fstat(handle), os.lstat(path))
    except OSError:
        return False


def _fill(handle: int, data: bytes, held: os.stat_result) -> None:
    """Data in an open file, on the disk, with mode and owner of the file that it will replace."""
    os.truncate(handle, 0)
    with open(handle, "wb", closefd=False) as file:
        file.write(data)
    with contextlib.suppress(PermissionError):  # another's file, in a folder that is ours: it becomes ours
        os.fchown(handle, held.st_uid, held.st_gid)
    os.fchmod(handle, held.st_mode & 0o777)
    os.fsync(handle)


def _settle(folder: str) -> None:
    """The folder's own entries on the disk, where folders can be flushed."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _beside(path: str, data: bytes) -> str:
    """Data in a temporary file in the folder of `path`, with the mode of a new file; raises FileTrouble."""
    import tempfile

    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(dir=os.path.dirname(os.path.abspath(path)), prefix=".habitatlint-")
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(temporary, 0o666 & ~umask)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise _unwritable(path, error) from None
    return temporary


def _unwritable(path: str, error: OSError) -> FileTrouble:
    why = (error.strerror or str(error)).lower()
    remedy = "make the folder first" if isinstance(error, FileNotFoundError) else "give another folder or name"
    return FileTrouble(f"{path.replace(os.sep, '/')}: cannot be written: {why}; {remedy}")
