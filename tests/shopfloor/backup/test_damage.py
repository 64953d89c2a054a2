"""What is cut, altered, newer or made to harm is refused before anything is believed."""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from shopfloor.backup.archive import BackupError, allowed, reading
from shopfloor.backup.make import backup_make
from shopfloor.backup.restore import restore
from shopfloor.backup.tables import unknown
from tests.shopfloor.backup.conftest import Place

SEAL = len(b"Kerfbook backup sha256:") + 64


def refused(path: Path) -> str:
    with pytest.raises(BackupError) as caught, reading(path):
        pass
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)
    return str(caught.value)


def sections(path: Path) -> list[tuple[str, int, int]]:
    """Where each part of the file lies: heads and bytes of members, directory, end, seal."""
    found = []
    size = path.stat().st_size
    with zipfile.ZipFile(path) as archive:
        infos = [*archive.infolist()]
        directory = archive.start_dir
    for info, following in zip(infos, [*infos[1:], None], strict=True):
        end = following.header_offset if following else directory
        begins = info.header_offset + 30 + len(info.filename)
        found.append((f"head of {info.filename}", info.header_offset, begins))
        found.append((f"bytes of {info.filename}", begins, end))
    return [*found, ("directory", directory, size - SEAL), ("seal", size - SEAL, size)]


def test_a_flipped_bit_anywhere_is_refused(copy):
    whole, chance = copy.read_bytes(), random.Random(9)
    for what, start, end in sections(copy):
        # Unpacking ends in one of several errors, by which bit it is.
        for _ in range(12 if what.startswith("bytes of tables/telemetry_event") else 2):
            at, bit = chance.randrange(start, end), chance.randrange(8)
            copy.write_bytes(whole[:at] + bytes([whole[at] ^ 1 << bit]) + whole[at + 1 :])
            said = refused(copy)
            if what.startswith("bytes of tables/telemetry_event"):
                assert "tables/telemetry_event.copy" in said
    copy.write_bytes(whole)
    with reading(copy):
        pass


def test_a_file_cut_anywhere_or_grown_is_refused(copy):
    whole, chance = copy.read_bytes(), random.Random(10)
    ends = [chance.randrange(start, end) for _, start, end in sections(copy)]
    for end in [0, 1, 3, *ends, len(whole) - 1]:
        copy.write_bytes(whole[:end])
        refused(copy)
    copy.write_bytes(whole + b"\0")
    refused(copy)
    copy.write_bytes(b"\0" + whole)
    refused(copy)


def made_again(path: Path, change: Callable[[dict, dict[str, bytes]], object]) -> None:
    """The backup with `change` done to manifest and members, and sealed as by one who means it."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()[:-1]}
        manifest = json.loads(archive.read("manifest.json"))
    change(manifest, members)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
        archive.writestr("manifest.json", json.dumps(manifest))
        archive.comment = b"Kerfbook backup sha256:" + b"0" * 64
    data = path.read_bytes()[:-SEAL]
    digest = hashlib.sha256(data).hexdigest().encode()
    path.write_bytes(data + b"Kerfbook backup sha256:" + digest)


def entry_of(name: str, data: bytes) -> dict:
    return {"name": name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}


def put(name: str, data: bytes = b"x") -> Callable[[dict, dict[str, bytes]], None]:
    def change(manifest: dict, members: dict[str, bytes]) -> None:
        manifest["files"].append(entry_of(name, data))
        members[name] = data

    return change


def test_the_same_content_sealed_again_is_taken(copy):
    made_again(copy, lambda manifest, members: None)
    with reading(copy) as backup:
        assert backup.manifest["format"] == 1


@pytest.mark.parametrize(
    "name",
    ["../evil", "journal/../../evil", "/etc/passwd", "journal/./x", "uploads//x",
     "kerfbook.sqlite3", "journal\\..\\evil", "C:/evil", "files/a\nb", "journal"],
)  # fmt: skip
def test_a_place_outside_the_folder_is_refused(copy, name):
    assert not allowed(name)
    made_again(copy, put(name))
    refused(copy)


@pytest.mark.parametrize("name", ["journal/t/live/0000000001.journal", "uploads/ab", "secret.key"])
def test_places_of_a_data_folder_are_allowed(name):
    assert allowed(name)


def test_a_bomb_is_stopped_at_the_size_the_manifest_says(copy):
    def change(manifest: dict, members: dict[str, bytes]) -> None:
        manifest["files"].append(entry_of("uploads/bomb", b"small"))
        members["uploads/bomb"] = bytes(50_000_000)

    made_again(copy, change)
    assert "uploads/bomb: is not as long as the manifest says" in refused(copy)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda manifest, members: manifest.update(format=2), "newer Kerfbook"),
        (lambda manifest, members: manifest.pop("tables"), "cannot be read"),
        (lambda manifest, members: manifest["files"].pop(), "only one of"),
        (lambda manifest, members: members.popitem(), "only one of"),
        (lambda manifest, members: manifest["files"].append(manifest["files"][0]), "twice"),
        (lambda manifest, members: manifest["tables"][0].update(rows=10**6), "rows"),
        (lambda manifest, members: manifest["tables"][0].update(sha256="0" * 64), "checksum"),
        (lambda manifest, members: manifest["tables"][0].update(table="x"), "not a table's place"),
    ],
)
def test_a_manifest_that_does_not_fit_is_refused(copy, change, said):
    made_again(copy, change)
    assert said in refused(copy)


@pytest.mark.parametrize("name", ["-", ".", "not there/x.zip"])
def test_what_is_no_file_is_refused(filled, out, monkeypatch, name):
    monkeypatch.chdir(out)
    for do in (backup_make, restore):
        with filled.here(), pytest.raises(BackupError):
            do(Path(name))
    assert list(out.iterdir()) == []


def test_another_file_is_not_overwritten(filled, out):
    letter = out / "letter.txt"
    letter.write_text("dear")
    with filled.here(), pytest.raises(BackupError, match="no backup"):
        backup_make(letter)
    assert letter.read_text() == "dear"
    assert list(out.iterdir()) == [letter]


def newer(manifest: dict, members: dict[str, bytes]) -> None:
    manifest["migrations"].append(["shopfloor", "9999_from_the_future"])


def other_columns(manifest: dict, members: dict[str, bytes]) -> None:
    manifest["tables"][-1]["columns"].append(['x"; DROP TABLE y', "text"])


@pytest.mark.parametrize(
    ("change", "said"),
    [(newer, "newer Kerfbook, which has shopfloor.9999"), (other_columns, "as its migrations")],
)
def test_what_this_program_cannot_hold_changes_nothing(copy, tmp_path, change, said):
    made_again(copy, change)
    place = Place(tmp_path / "new", None)
    with place.here(), pytest.raises(BackupError, match=said):
        restore(copy)
    assert [path.name for path in place.data.iterdir()] == ["start.lock"]


def test_too_little_room_is_said_first(saved, other, monkeypatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: SimpleNamespace(free=1000))
    before = other.rows(), other.files()
    with other.here(), pytest.raises(BackupError, match="are needed and 0 MB are free"):
        restore(saved)
    assert (other.rows(), other.files()) == before


@pytest.mark.long
def test_rows_that_do_not_fit_leave_the_old_shop_as_it_was(copy, other):
    """Well summed and sealed, but a row refers to one that is not there."""

    def change(manifest: dict, members: dict[str, bytes]) -> None:
        name = "tables/telemetry_cursor.copy"
        members[name] = members[name].replace(b"\n", b"9\n")
        entry = next(one for one in manifest["tables"] if one["name"] == name)
        entry.update(entry_of(name, members[name]))

    made_again(copy, change)
    before = other.rows(), other.files()
    with other.here(), pytest.raises(BackupError, match="telemetry_cursor"):
        restore(copy, replace=True)
    assert (other.rows(), other.files()) == before
    assert not list(other.data.glob("re[sp]*"))
    assert not list(other.data.glob("*.restoring*"))


def test_a_migration_of_an_app_that_is_not_ours_is_no_newer_version():
    assert unknown([("other", "0001_initial")]) == []
