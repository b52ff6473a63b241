"""Archives that mean harm, or lie: each is refused in one line, nothing of it is run, and nothing written to disk."""

from __future__ import annotations

import io
import json
import stat
import struct
import time
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from habitatlint.cli.main import main
from habitatlint.packs.archive import (
    FORMAT,
    LARGEST,
    LARGEST_ARCHIVE,
    MANIFEST,
    MOST_FILES,
    ArchiveTrouble,
    unwrapped,
    wrapped,
)

HEAD = 'pack creek "Creek"\n  version "1.0"\n'
RULE = 'rule one\n  title "One"\n  each k in pockets\n  report note\n    say "{k}"\n  because "so"\n'
TEXTS = {"pack.rules": HEAD, "one.rules": RULE}
SOUND, _ = wrapped("creek", "1.0", "Creek", "", TEXTS)


def manifest(texts: dict[str, str], **said: object) -> str:
    """What a sound archive of these texts would say, but for what is said otherwise."""
    with zipfile.ZipFile(io.BytesIO(wrapped("creek", "1.0", "Creek", "", texts)[0])) as archive:
        told = json.loads(archive.read(MANIFEST))
    return json.dumps({**told, **said})


def archive(
    entries: list[tuple[str, str | bytes]], said: str | None = None, how: Callable[[zipfile.ZipInfo], None] | None = None,
    packed: int = zipfile.ZIP_STORED,
) -> bytes:  # fmt: skip
    """A zip of entries and a manifest, written with no care at all."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", packed) as file:
        for name, text in [*entries, (MANIFEST, said if said is not None else manifest(TEXTS))]:
            entry = zipfile.ZipInfo(name)
            entry.compress_type = packed
            if how is not None and name != MANIFEST:
                how(entry)
            file.writestr(entry, text)
    return held.getvalue()


def refused(data: bytes) -> str:
    with pytest.raises(ArchiveTrouble) as told:
        unwrapped(data)
    words = str(told.value)
    assert "\n" not in words and len(words) < 300 and words.isprintable()
    return words


def test_a_sound_archive_is_read() -> None:
    found = unwrapped(SOUND)
    assert found.texts == TEXTS and found.manifest.name == "creek"
    packed = archive(list(TEXTS.items()), packed=zipfile.ZIP_DEFLATED)  # by another's hand, and true
    assert unwrapped(packed).texts == TEXTS


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/passwd", "../one.rules", "/etc/passwd", "/one.rules", "a/../../one.rules", "folder/one.rules",
        "C:\\one.rules", "c:one.rules", "..\\one.rules", "\\\\host\\share\\one.rules", "one.rules/", ".rules", ".git",
        "One.rules", "one.RULES", "one\u202eselur.", "one rules", "setup.py", "one.py", "pack.so",
        "ónë.rules", "one.rules.", "one.rules ", "~", "$HOME.rules", "-" * 81 + ".rules",
    ],
)  # fmt: skip
def test_a_name_that_is_no_packs_is_refused(name: str) -> None:
    assert "is no file of a pack" in refused(archive([*TEXTS.items(), (name, RULE)]))


def test_a_name_with_more_behind_a_null_is_refused() -> None:
    data = archive([*TEXTS.items(), ("two.rules_.py", RULE)]).replace(b"two.rules_.py", b"two.rules\0.py")
    assert "is no file of a pack" in refused(data)


@pytest.mark.parametrize("name", ["con.rules", "nul.rules", "aux.rules", "prn.rules", "com1.rules", "lpt9.rules"])
def test_the_name_of_a_device_is_refused_read_or_wrapped(name: str) -> None:
    assert "device" in refused(archive([*TEXTS.items(), (name, RULE)]))
    with pytest.raises(ArchiveTrouble, match="device"):
        wrapped("creek", "1.0", "Creek", "", {**TEXTS, name: RULE})


def test_a_name_that_stands_twice_is_refused() -> None:
    with pytest.warns(UserWarning, match="Duplicate"):
        data = archive([*TEXTS.items(), ("one.rules", RULE)])
    assert "one too many" in refused(data)


def test_names_that_one_machine_takes_for_the_same_are_refused() -> None:
    for one, other in (("LICENSE", "license"), ("README.md", "readme.MD")):
        refused(archive([*TEXTS.items(), (one, "x"), (other, "y")]))


def test_a_link_or_a_device_in_the_place_of_a_file_is_refused() -> None:
    for kind in (stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR, stat.S_IFDIR, stat.S_IFSOCK):

        def mark(entry: zipfile.ZipInfo, kind: int = kind) -> None:
            entry.create_system, entry.external_attr = 3, (kind | 0o777) << 16

        assert "link or a folder" in refused(archive([("pack.rules", HEAD), ("one.rules", "/etc/passwd")], how=mark))


# -- bombs -----------------------------------------------------------------------------------------------------


def test_a_bomb_that_says_its_size_is_refused_before_it_is_blown_up() -> None:
    started = time.process_time()
    data = archive([("pack.rules", HEAD), ("one.rules", b" " * (200 * 2**20))], packed=zipfile.ZIP_DEFLATED)
    assert len(data) < 2**20
    started = time.process_time()
    assert "larger than 1 MB" in refused(data)
    assert time.process_time() - started < 0.5


def test_a_bomb_that_lies_of_its_size_is_refused_after_no_more_than_the_cap() -> None:
    big = b" " * (20 * 2**20)
    data = archive([("pack.rules", HEAD), ("one.rules", big)], packed=zipfile.ZIP_DEFLATED)
    lie = data.replace(struct.pack("<L", len(big)), struct.pack("<L", 10))
    assert lie != data
    words = refused(lie)
    assert "larger or smaller" in words or "damaged" in words


def test_many_entries_and_many_small_bombs_are_refused() -> None:
    many = [(f"r{number}.rules", "x") for number in range(MOST_FILES + 5)]
    assert "1000 at most" in refused(archive(many))
    some = [(f"r{number}.rules", b" " * LARGEST) for number in range(9)]
    assert "8 MB together" in refused(archive(some, packed=zipfile.ZIP_DEFLATED))


def test_entries_that_share_their_bytes_are_refused() -> None:
    """Overlapping entries, of which one stretch of data makes thousands of files: every one points at the first."""
    texts = {f"r{number}.rules": "x" * 1000 for number in range(50)}
    data = bytearray(archive(list(texts.items()), said=manifest(texts)))
    start = data.index(b"PK\x01\x02")
    while (at := data.find(b"PK\x01\x02", start)) >= 0:
        data[at + 42 : at + 46] = struct.pack("<L", 0)
        start = at + 4
    refused(bytes(data))


def test_an_archive_that_is_too_large_is_not_looked_into() -> None:
    assert "larger than" in refused(SOUND + b"\0" * LARGEST_ARCHIVE)


def test_a_zip_within_a_zip_is_only_a_file_that_is_no_text() -> None:
    data = archive([*TEXTS.items(), ("LICENSE", b"PK\x03\x04\xff\xfe" * 50)])
    assert "is not UTF-8 text" in refused(data)


def test_a_locked_entry_and_strange_packings_are_refused() -> None:
    data = bytearray(archive(list(TEXTS.items())))
    at = data.index(b"PK\x01\x02")
    data[at + 8] |= 1
    assert "password" in refused(bytes(data))
    assert "packed in a way" in refused(archive(list(TEXTS.items()), packed=zipfile.ZIP_LZMA))


# -- lies ------------------------------------------------------------------------------------------------------


def test_a_text_that_is_not_as_the_manifest_says_is_refused() -> None:
    assert "is not as its manifest.json says" in refused(archive([("pack.rules", HEAD), ("one.rules", RULE + "#\n")]))


def test_a_file_that_the_manifest_does_not_know_or_that_is_missing_is_refused() -> None:
    assert "is not in its manifest.json" in refused(archive([*TEXTS.items(), ("two.rules", RULE)]))
    assert "in its manifest.json and not there" in refused(archive([("pack.rules", HEAD)]))


@pytest.mark.parametrize(
    "said",
    [
        {"format": "habitatlint-pack 99"}, {"format": None}, {"name": "../creek"}, {"name": "Creek"}, {"name": 7},
        {"version": None}, {"title": []}, {"files": []}, {"files": {}}, {"files": {"pack.rules": 1, "one.rules": 2}},
        {"content": "0" * 64}, {"requires": {}},
    ],
)  # fmt: skip
def test_a_manifest_that_lies_is_refused(said: dict[str, object]) -> None:
    refused(archive(list(TEXTS.items()), said=manifest(TEXTS, **said)))


@pytest.mark.parametrize("said", ["", "{", "[]", "7", "null", "[" * 100_000, '{"format": 1, "format": 2}', "\ud800".encode("utf-8", "surrogatepass")])  # fmt: skip
def test_a_manifest_that_is_none_is_refused(said: str | bytes) -> None:
    refused(archive(list(TEXTS.items()), said=said))  # type: ignore[arg-type]


def test_an_archive_without_a_manifest_is_refused() -> None:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as file:
        file.writestr("pack.rules", HEAD)
    assert "no manifest.json" in refused(held.getvalue())


def test_what_turns_or_hides_its_neighbours_is_not_told_as_it_is() -> None:
    words = refused(archive([("evil\u202e\x1b[2J\n.rules", RULE)]))
    assert "\u202e" not in words and "\x1b" not in words


# -- damage ----------------------------------------------------------------------------------------------------


@given(st.binary(max_size=300))
def test_bytes_that_are_no_archive_are_refused(data: bytes) -> None:
    refused(data)


@given(st.integers(0, len(SOUND) - 1), st.integers(1, 255))
def test_a_byte_changed_anywhere_is_refused_or_changes_nothing(at: int, by: int) -> None:
    data = bytearray(SOUND)
    data[at] ^= by
    try:
        found = unwrapped(bytes(data))
    except ArchiveTrouble:
        return
    assert found.texts == TEXTS


@given(st.integers(0, len(SOUND) - 1))
def test_an_archive_cut_short_is_refused(length: int) -> None:
    refused(SOUND[:length])


def test_a_checksum_that_is_wrong_is_refused() -> None:
    data = SOUND.replace(struct.pack("<L", zlib.crc32(RULE.encode())), b"\1\2\3\4")
    assert data != SOUND and "damaged" in refused(data)


# -- by the commands -------------------------------------------------------------------------------------------


def test_the_commands_refuse_it_in_one_line_and_write_nothing(tmp_path: Path) -> None:
    (tmp_path / "evil.pack").write_bytes(archive([*TEXTS.items(), ("../../escaped.rules", RULE)]))
    (tmp_path / "farm.habitat").write_text('plan "A"\nuse pack "evil.pack"\n', encoding="utf-8")
    before = sorted(path.name for path in tmp_path.rglob("*"))
    done = CliRunner().invoke(main, ["pack", "check", str(tmp_path / "evil.pack")])
    assert done.exit_code == 2 and done.stderr.count("\n") == 1 and "is no file of a pack" in done.stderr
    done = CliRunner().invoke(main, ["check", str(tmp_path / "farm.habitat"), "--as", "gnu"])
    assert done.exit_code == 1 and "is no file of a pack" in done.stdout and "(record/pack-trouble)" in done.stdout
    assert sorted(path.name for path in tmp_path.rglob("*")) == before


def test_a_manifest_that_calls_the_pack_other_than_its_own_head_does_is_refused(tmp_path: Path) -> None:
    said = manifest(TEXTS, name="entry", version="9.0")
    (tmp_path / "lie.pack").write_bytes(archive(list(TEXTS.items()), said=said))
    done = CliRunner().invoke(main, ["pack", "check", str(tmp_path / "lie.pack")])
    assert done.exit_code == 2 and "its manifest.json says entry 9.0, and its rule files do not" in done.stderr


# -- folders ---------------------------------------------------------------------------------------------------


def test_a_link_that_leads_out_of_a_packs_folder_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "secret.rules").write_text("secret words\n", encoding="utf-8")
    folder = tmp_path / "creek"
    folder.mkdir()
    (folder / "pack.rules").write_text(HEAD, encoding="utf-8")
    (folder / "one.rules").symlink_to(tmp_path / "secret.rules")
    done = CliRunner().invoke(main, ["pack", "check", str(folder)])
    assert done.exit_code == 2 and "leads out of the pack's folder" in done.stderr and "secret words" not in done.output
    assert FORMAT.startswith("habitatlint-pack")


def test_a_pipe_in_a_packs_folder_does_not_hold_the_command_up(tmp_path: Path) -> None:
    import os

    folder = tmp_path / "creek"
    folder.mkdir()
    os.mkfifo(folder / "one.rules")
    done = CliRunner().invoke(main, ["pack", "check", str(folder)])
    assert done.exit_code == 2 and "not a plain file" in done.stderr


def test_a_rule_that_nests_without_end_is_told_in_one_line(tmp_path: Path) -> None:
    folder = tmp_path / "creek"
    folder.mkdir()
    deep = "(" * 20_000 + "k is cut" + ")" * 20_000
    (folder / "one.rules").write_text(RULE.replace("  report", f"  where {deep}\n  report"), encoding="utf-8")
    done = CliRunner().invoke(main, ["pack", "check", str(folder), "--as", "gnu"])
    assert done.exit_code in (0, 1, 2) and "Traceback" not in done.output
    assert "a fault of this program" not in done.output
