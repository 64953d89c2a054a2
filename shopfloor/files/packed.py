"""The files in a ZIP archive, each whole or with why not. Read in a process of its own (`apart`).

Nothing is written under an entry's name, and what an entry says of its size is not believed.
"""

from __future__ import annotations

import io
import lzma
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from planning.calc.said import said

MB: Final = 1024 * 1024
MOST_ENTRIES: Final = 2_000
MOST_BYTES: Final = 128 * MB  # of all of them, unpacked
MOST_DEEP: Final = 32  # folders in folders
MOST_NAME: Final = 1_000
_DAMAGED: Final = (zipfile.BadZipFile, zlib.error, lzma.LZMAError)
_ENCRYPTED, _UTF8 = 0x1, 0x800
_SYSTEM_FILES: Final = ("thumbs.db", "desktop.ini")


@dataclass(frozen=True, slots=True)
class Packed:
    """`name` is as in the archive, folders with it; `raw` is None where `problem` says why."""

    name: str
    raw: bytes | None
    problem: str = ""


def read_packed(raw: bytes, most_files: int, most_bytes: int) -> list[Packed]:
    """`most_bytes` is of one file. Raises ValueError where the whole archive is not taken."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            entries = [each for each in archive.infolist() if _wanted(each)]
            if len(archive.infolist()) > MOST_ENTRIES or len(entries) > most_files:
                raise ValueError(
                    said(
                        "the archive holds {count} files; at most {most} are taken at once",
                        count=len(entries),
                        most=most_files,
                    )
                )
            return list(_files(archive, entries, most_bytes))
    except (zipfile.BadZipFile, zipfile.LargeZipFile, OSError, EOFError, OverflowError) as problem:
        raise ValueError(
            said("the ZIP archive is damaged: {problem}", problem=str(problem)[:200])
        ) from problem
    except (UnicodeError, NotImplementedError) as problem:
        raise ValueError(said("the ZIP archive cannot be read")) from problem


def _wanted(entry: zipfile.ZipInfo) -> bool:
    name = entry.filename.replace("\\", "/")
    last = name.rsplit("/", 1)[-1].lower()
    by_system = name.startswith("__MACOSX/") or last.startswith(".") or last in _SYSTEM_FILES
    return not (entry.is_dir() or by_system)


def _files(
    archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo], most_bytes: int
) -> Iterator[Packed]:
    left = MOST_BYTES
    seen: set[str] = set()
    for entry in entries:
        name = _name(entry)
        problem = _refused(entry, name, seen)
        seen.add(name.lower())
        if problem:
            yield Packed(name, None, problem)
            continue
        held, problem = _bytes(archive, entry, min(most_bytes, left))
        left -= len(held or b"")
        yield Packed(name, held, problem)


def _refused(entry: zipfile.ZipInfo, name: str, seen: set[str]) -> str:
    if name.lower() in seen:
        return said("the archive holds two files of this name: only the first is taken")
    if len(entry.filename) > MOST_NAME or name.count("/") > MOST_DEEP:
        return said("its name, or the folders around it, are too long")
    if entry.flag_bits & _ENCRYPTED:
        return said("it is locked with a password: unpack the archive first")
    return ""


def _bytes(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, most: int) -> tuple[bytes | None, str]:
    """What the entry holds, and why not."""
    try:
        with archive.open(entry) as opened:
            held = opened.read(most + 1)
    except NotImplementedError:
        return None, said("it is packed in a way that is not read: pack it as a plain ZIP")
    except (*_DAMAGED, EOFError, OSError, RuntimeError, ValueError):
        return None, said("it is damaged in the archive")
    if len(held) > most:
        return None, said("it, or the archive up to it, is over the limit: bring it by itself")
    return held, ""


def _name(entry: zipfile.ZipInfo) -> str:
    """Older programs write names in their own letters and do not say which: UTF-8 where the bytes
    are that, else as ZIP has it. What no page can show is left out."""
    name = entry.filename
    if not entry.flag_bits & _UTF8:
        try:
            name = name.encode("cp437").decode("utf-8")
        except UnicodeError:
            name = entry.filename
    name = "".join(letter if letter.isprintable() else "?" for letter in name)
    return name.replace("\\", "/").lstrip("/")[:MOST_NAME]
