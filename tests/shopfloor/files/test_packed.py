"""ZIP archives as people make them, and as somebody makes them to do harm."""

from __future__ import annotations

import io
import struct
import zipfile
from contextlib import suppress

import pytest

from shopfloor.files import packed
from shopfloor.files.apart import read_apart
from shopfloor.files.packed import Packed, read_packed

MB = 1024 * 1024


def zipped(*files: tuple[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", method) as archive:
        for name, raw in files:
            archive.writestr(name, raw)
    return held.getvalue()


def opened(raw: bytes, most_files: int = 100, most_bytes: int = MB) -> dict[str, str | bytes]:
    return {each.name: each.problem or each.raw or b"" for each in read_packed(
        raw, most_files, most_bytes)}  # fmt: skip


def test_files_come_with_their_folders_and_what_systems_leave_is_passed_over():
    raw = zipped(
        ("job/", b""), ("job/a.dxf", b"A"), ("job\\b.dxf", b"B"), ("__MACOSX/job/._a.dxf", b"x"),
        ("job/.DS_Store", b"x"), ("job/Thumbs.db", b"x"),
    )  # fmt: skip
    assert opened(raw) == {"job/a.dxf": b"A", "job/b.dxf": b"B"}


def test_paths_out_of_the_archive_are_names_and_nothing_else():
    raw = zipped(("/etc/a.dxf", b"A"), ("../../b.dxf", b"B"), ("C:\\c.dxf", b"C"))
    assert opened(raw) == {"etc/a.dxf": b"A", "../../b.dxf": b"B", "C:/c.dxf": b"C"}


def test_a_file_that_unpacks_to_more_than_it_may_is_refused_and_the_others_are_taken():
    raw = zipped(("bomb.dxf", bytes(20 * MB)), ("a.dxf", b"A"))
    assert len(raw) < 100_000
    found = opened(raw)
    assert "over the limit" in str(found["bomb.dxf"])
    assert found["a.dxf"] == b"A"


def test_a_size_that_is_a_lie_is_not_believed():
    raw = bytearray(zipped(("bomb.dxf", bytes(20 * MB))))
    for signature, at in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        struct.pack_into("<I", raw, raw.index(signature) + at, 10)
    assert next(each.raw for each in read_packed(bytes(raw), 100, MB)) in (None, bytes(10))


def test_all_files_together_have_a_limit(monkeypatch):
    monkeypatch.setattr(packed, "MOST_BYTES", 3 * MB)
    found = opened(zipped(*((f"{k}.dxf", bytes(MB)) for k in range(5))))
    assert [isinstance(each, bytes) for each in found.values()] == [True, True, True, False, False]


def test_too_many_files_are_refused_as_a_whole():
    with pytest.raises(ValueError, match="holds 101 files; at most 100"):
        opened(zipped(*((f"{k}.dxf", b"") for k in range(101))))
    with pytest.raises(ValueError, match="holds 0 files"):
        opened(zipped(*((f"d{k}/", b"") for k in range(packed.MOST_ENTRIES + 1))))


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_two_files_of_a_name_are_one_and_a_line():
    found = list(read_packed(zipped(("a.dxf", b"1"), ("A.DXF", b"2"), ("a.dxf", b"3")), 9, MB))
    assert found[0] == Packed("a.dxf", b"1")
    assert ["two files of this name" in each.problem for each in found] == [False, True, True]


def test_a_file_under_a_password_is_named():
    raw = bytearray(zipped(("a.dxf", b"A"), ("b.dxf", b"B")))
    for signature, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        raw[raw.index(signature) + at] |= 1
    found = opened(bytes(raw))
    assert "locked with a password" in str(found["a.dxf"])
    assert found["b.dxf"] == b"B"


def test_folders_without_end_and_endless_names_are_refused():
    found = opened(zipped(("d/" * 40 + "a.dxf", b"A"), ("n" * 5_000, b"A"), ("b.dxf", b"B")))
    assert [isinstance(each, bytes) for each in found.values()] == [False, False, True]
    assert max(len(name) for name in found) <= packed.MOST_NAME


def test_names_in_letters_nobody_said_are_read_as_utf_8_where_they_are():
    raw = zipped(("winkel_gro\u00df.dxf", b"A"))
    plain = raw.replace(b"\x00\x08", b"\x00\x00")  # the mark that names are UTF-8 is taken away
    assert list(opened(plain)) == ["winkel_gro\u00df.dxf"]
    odd = zipped(("caf0.dxf", b"A")).replace(b"caf0", b"caf\x82")  # as DOS wrote it
    assert list(opened(odd)) == ["caf\u00e9.dxf"]


def test_a_damaged_file_is_named_and_the_others_are_taken():
    raw = zipped(("a.dxf", b"A" * 99), ("b.dxf", b"B" * 99), method=zipfile.ZIP_STORED)
    found = opened(raw.replace(b"AAAA", b"AAAX", 1))
    assert "damaged" in str(found["a.dxf"])
    assert found["b.dxf"] == b"B" * 99


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_any_damage_ends_in_an_answer_or_a_refusal(method):
    raw = zipped(("a.dxf", b"A" * 200), ("b.dxf", b"B" * 200), method=method)
    for at in range(len(raw)):
        hurt = raw[:at] + bytes([raw[at] ^ 0xFF]) + raw[at + 1 :]
        with suppress(ValueError):  # any other error fails the test
            assert all(len(each.raw or b"") <= 200 for each in read_packed(hurt, 9, MB))


def test_it_is_read_in_a_process_of_its_own():
    assert read_apart("packed", zipped(("a.dxf", b"A")), 9, MB) == [Packed("a.dxf", b"A")]
    with pytest.raises(ValueError, match="ZIP archive is damaged"):
        read_apart("packed", b"PK\x03\x04nothing", 9, MB)
