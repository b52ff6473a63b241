"""A pack in one file: a zip archive of its texts and a manifest, `NAME-VERSION.pack`.

Wrapped, a pack gives the same bytes every time and everywhere: entries by name, stored as they are, with fixed times
and modes, line ends `\\n`. The manifest is JSON: `format` ("habitatlint-pack 1"), `name`, `version`, `title`,
`requires`, `content` (the hash of all texts) and `files`, which gives for each its `size` and `sha256`.

An archive may come from anybody. It is read in memory and nothing of it is ever written to disk: only names of a short
list are known, sizes are held to caps both as declared and as they turn out, and every text is held to the manifest.
(ZIP: APPNOTE 6.3.10, section 4; SHA-256: FIPS 180-4.)
"""

from __future__ import annotations

import hashlib
import json
import re
import stat
import zipfile
import zlib
from collections.abc import Iterable, Mapping
from io import BytesIO
from typing import Any, NamedTuple

from habitatlint.outputs.sentences import clean

FORMAT = "habitatlint-pack 1"
ENDING = ".pack"
MANIFEST, HEAD = "manifest.json", "pack.rules"
#: most files, most bytes of one and of all, and of the archive itself
MOST_FILES, LARGEST, LARGEST_IN_ALL, LARGEST_ARCHIVE = 1000, 1024 * 1024, 8 * 1024 * 1024, 12 * 1024 * 1024
#: what else than rules a pack may hold
BESIDE = ("LICENSE", "README.md")
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_RULES = re.compile(r"[a-z0-9-]{1,80}\.rules")
#: names that one system takes for devices, whatever their ending
_DEVICES = re.compile(r"(con|prn|aux|nul|clock\$|com[0-9]|lpt[0-9])\.", re.IGNORECASE)
#: the head of a pack in a rule file, with the lines below it, and the version that it states there
_HEADED = re.compile(r"^pack[ \t]+([a-z0-9-]+)([^\n]*(?:\n(?:[ \t#][^\n]*)?)*)", re.MULTILINE)
_VERSION = re.compile(r'^[ \t]+version[ \t]+"([^"\n]*)"', re.MULTILINE)
#: written alike on every machine: the first moment that the form can tell, a plain file for all to read
_TIME, _MODE, _UNIX = (1980, 1, 1, 0, 0, 0), stat.S_IFREG | 0o644, 3


class ArchiveTrouble(Exception):
    """A pack that cannot be wrapped, or an archive that is no pack, in one line."""


class Manifest(NamedTuple):
    """What an archive says of itself."""

    name: str
    version: str
    title: str
    requires: str
    content: str


class Unwrapped(NamedTuple):
    """An archive's manifest, and its texts by name, the manifest left out."""

    manifest: Manifest
    texts: Mapping[str, str]


def content_of(texts: Mapping[str, str]) -> str:
    """The hash of a pack's texts, names and all: 64 hexadecimal digits."""
    whole = hashlib.sha256()
    for name in sorted(texts):
        data = texts[name].encode()
        whole.update(f"{name}\0{len(data)}\0".encode())
        whole.update(data)
    return whole.hexdigest()


def wrapped(name: str, version: str, title: str, requires: str, texts: Mapping[str, str]) -> tuple[bytes, Manifest]:
    """A pack's archive, and what it says of itself. Raises ArchiveTrouble for what no archive holds."""
    plain = {file: text.removeprefix("\ufeff").replace("\r\n", "\n") for file, text in texts.items()}
    for file in sorted(plain):
        _known(file)
    sizes = {file: len(text.encode()) for file, text in plain.items()}
    _bounded(sizes.items())
    manifest = Manifest(name, version, title, requires, content_of(plain))
    files = {
        file: {"size": sizes[file], "sha256": hashlib.sha256(text.encode()).hexdigest()}
        for file, text in sorted(plain.items())
    }
    said = json.dumps({"format": FORMAT, **manifest._asdict(), "files": files}, indent=2, ensure_ascii=False) + "\n"
    held = BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_STORED) as archive:
        for file, text in sorted({**plain, MANIFEST: said}.items()):
            entry = zipfile.ZipInfo(file, _TIME)
            entry.create_system, entry.external_attr = _UNIX, _MODE << 16
            archive.writestr(entry, text.encode())
    return held.getvalue(), manifest


def unwrapped(data: bytes) -> Unwrapped:
    """An archive's texts, each as its manifest says. Raises ArchiveTrouble; reads nothing but `data`."""
    if len(data) > LARGEST_ARCHIVE:
        raise ArchiveTrouble(f"larger than {LARGEST_ARCHIVE // 2**20} MB, which no pack is")
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            return _read(archive)
    except (
        zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError, OSError, LookupError,
    ) as error:  # fmt: skip
        if isinstance(error, RecursionError):
            raise ArchiveTrouble("its manifest nests too deeply") from None
        raise ArchiveTrouble("no archive of a pack, or a damaged one; have it sent again") from None


def _read(archive: zipfile.ZipFile) -> Unwrapped:
    entries = archive.infolist()
    seen: dict[str, str] = {}
    for entry in entries[: MOST_FILES + 2]:
        _sound(entry)
        if (folded := entry.filename.casefold()) in seen:
            raise ArchiveTrouble(f"it has `{_shown(seen[folded])}` and `{_shown(entry.filename)}`, one too many")
        seen[folded] = entry.filename
    _bounded([(entry.filename, entry.file_size) for entry in entries])
    if MANIFEST not in seen.values():
        raise ArchiveTrouble(f"it has no {MANIFEST}; packs are wrapped with `habitatlint pack wrap`")
    texts: dict[str, str] = {}
    left = LARGEST_IN_ALL
    for entry in entries:
        with archive.open(entry) as file:
            data = file.read(min(LARGEST, left) + 1)  # what it says of its size may be a lie
        left -= len(data)
        if len(data) > LARGEST or left < 0 or len(data) != entry.file_size:
            raise ArchiveTrouble(f"`{_shown(entry.filename)}` is larger or smaller than the archive says")
        try:
            texts[entry.filename] = data.decode("utf-8-sig" if entry.filename == MANIFEST else "utf-8")
        except UnicodeDecodeError:
            raise ArchiveTrouble(f"`{_shown(entry.filename)}` is not UTF-8 text") from None
    said = texts.pop(MANIFEST)
    return Unwrapped(_held_to(said, texts), texts)


def _sound(entry: zipfile.ZipInfo) -> None:
    """Raises ArchiveTrouble for an entry that is no plain file of a pack."""
    # the name as it stands: the library cuts names at a null and turns backslashes where it runs on Windows
    name = entry.orig_filename
    _known(name)
    mode = entry.external_attr >> 16
    if entry.is_dir() or (entry.create_system == _UNIX and stat.S_IFMT(mode) not in (0, stat.S_IFREG)):
        raise ArchiveTrouble(f"`{_shown(name)}` is a link or a folder, and a pack is plain files")
    if entry.flag_bits & 0x1:
        raise ArchiveTrouble(f"`{_shown(name)}` is locked with a password")
    if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise ArchiveTrouble(f"`{_shown(name)}` is packed in a way that packs are not")


def _known(name: str) -> None:
    if name != MANIFEST and name not in BESIDE and not _RULES.fullmatch(name):
        raise ArchiveTrouble(
            f"`{_shown(name)}` is no file of a pack: rule files (lower-case letters, digits and hyphens, `.rules`), "
            f"{' and '.join(BESIDE)}, and no folders"
        )
    if _DEVICES.match(name):
        raise ArchiveTrouble(f"`{_shown(name)}` is the name of a device on some machines; call it otherwise")


def _bounded(sizes: Iterable[tuple[str, int]]) -> None:
    """Raises ArchiveTrouble for too many files, or too large ones."""
    sizes = list(sizes)
    if len(sizes) > MOST_FILES + 1:
        raise ArchiveTrouble(f"{len(sizes)} files; a pack has {MOST_FILES} at most")
    for name, size in sizes:
        if size > LARGEST:
            raise ArchiveTrouble(f"`{_shown(name)}` is larger than {LARGEST // 2**20} MB")
    if sum(size for _, size in sizes) > LARGEST_IN_ALL:
        raise ArchiveTrouble(f"its files are larger than {LARGEST_IN_ALL // 2**20} MB together")


def _held_to(said: str, texts: Mapping[str, str]) -> Manifest:
    """The manifest, which must say what is there; raises ArchiveTrouble where it does not."""
    told = _json(said)
    if told.get("format") != FORMAT:
        raise ArchiveTrouble(f"its form is {_shown(told.get('format'))}, and `{FORMAT}` is what this version reads")
    words = {word: value for word in Manifest._fields if isinstance(value := told.get(word), str)}
    files = told.get("files")
    if len(words) < len(Manifest._fields) or not isinstance(files, dict):
        raise ArchiveTrouble(f"its {MANIFEST} lacks what a manifest says")
    manifest = Manifest(**words)
    if not _NAME.fullmatch(manifest.name):
        raise ArchiveTrouble(f"its {MANIFEST} calls it `{_shown(manifest.name)}`, which is no pack's name")
    for name in sorted(files.keys() ^ texts.keys()):
        where = f"is not in its {MANIFEST}" if name in texts else f"is in its {MANIFEST} and not there"
        raise ArchiveTrouble(f"`{_shown(name)}` {where}")
    for name, text in sorted(texts.items()):
        data = text.encode()
        if files[name] != {"size": len(data), "sha256": hashlib.sha256(data).hexdigest()}:
            raise ArchiveTrouble(f"`{_shown(name)}` is not as its {MANIFEST} says: changed since it was wrapped")
    if manifest.content != content_of(texts):
        raise ArchiveTrouble(f"its texts are not those that its {MANIFEST} vouches for")
    heads = [found.groups() for text in texts.values() for found in _HEADED.finditer(text)]
    versions = _VERSION.findall(heads[0][1]) if len(heads) == 1 else []
    if len(heads) != 1 or (heads[0][0], versions[:1]) != (manifest.name, [manifest.version]):
        raise ArchiveTrouble(
            f"its {MANIFEST} says {manifest.name} {_shown(manifest.version)}, and its rule files do not"
        )
    return manifest


def _json(text: str) -> dict[str, Any]:
    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            raise ArchiveTrouble(f"its {MANIFEST} says one thing twice")
        return found

    told = json.loads(text, object_pairs_hook=once)
    if not isinstance(told, dict):
        raise ArchiveTrouble(f"its {MANIFEST} is no table")
    return told


def _shown(name: object) -> str:
    text = clean(str(name).replace("\n", "?").replace("\t", "?"))
    return text if len(text) <= 60 else f"{text[:57]}..."
