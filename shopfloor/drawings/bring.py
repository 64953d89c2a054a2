"""Several drawings brought at once: files, archives of them, and a list that says how many of what
each is. Nothing is kept on record here; bytes wait under their hash until somebody confirms."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _

from planning.calc import drawing as calc
from planning.calc.drawing.named import read_name
from planning.calc.said import to_reader, told
from shopfloor.drawings.services import MAX_DRAWING_BYTES
from shopfloor.files.apart import TooCostly, read_apart
from shopfloor.files.packed import Packed
from shopfloor.files.read_list import ListError, Row, read_table
from shopfloor.files.uploads import upload_keep
from shopfloor.models import Material
from shopfloor.web.forms import upload_bytes

MOST_FILES: Final = 100
MOST_LISTS: Final = 5  # and other files beside the drawings of an archive
MOST_BYTES: Final = 256 * 1024 * 1024  # of all files at hand, unpacked
MOST_NAME: Final = 160
A_CHILD: Final = 20  # drawings that one process reads
MOST_S: Final = 90.0  # for all of them; what is left then is brought again
COLUMNS: Final = ("file", "part", "quantity", "material", "thickness")
HEADINGS: Final = {
    "file name": "file", "filename": "file", "drawing": "file", "dxf": "file", "name": "part",
    "description": "part", "qty": "quantity", "pcs": "quantity", "count": "quantity",
    "amount": "quantity", "grade": "material", "thick": "thickness", "thk": "thickness",
}  # fmt: skip
LISTS: Final = (".csv", ".xlsx")


@dataclass(frozen=True, slots=True)
class PartFound:
    """One file, and what is said of its part. `digest` is "" where `problem` says why there are no
    bytes; `source` is where what is said comes from."""

    file_name: str
    digest: str = ""
    problem: str = ""
    part: str = ""
    quantity: str = ""
    material: str = ""
    thickness: str = ""
    source: str = ""


@dataclass
class Brought:
    parts: list[PartFound] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)  # what was refused as a whole


@dataclass(frozen=True, slots=True)
class _File:
    name: str
    raw: bytes | None
    problem: str = ""


def bring(uploads: Sequence[UploadedFile[bytes]], *, had: int = 0) -> Brought:
    """What came with a form, archives unpacked; `had` files are there already."""
    brought = Brought()
    files = _unpacked(uploads, brought)
    drawings = [each for each in files if not each.name.lower().endswith(LISTS)]
    over = len(drawings) + had - MOST_FILES
    if over > 0:
        brought.lines.append(
            _("{count} files are over {most}, the most taken at once: bring them next.").format(
                count=over, most=MOST_FILES
            )
        )
        drawings = drawings[: max(0, MOST_FILES - had)]
    rows = _rows([each for each in files if each.name.lower().endswith(LISTS)], brought)
    words = {row.code: (row.code, row.name) for row in Material.objects.all()}
    for each in drawings:
        row = rows.pop(_plain(each.name), None)
        brought.parts.append(_part(each, row, words))
    brought.lines += [
        _("{list}, line {line}: there is no file {name}.").format(
            list=name, line=row.line, name=row.text("file")[:80]
        )
        for name, row in rows.values()
    ]
    return brought


def _unpacked(uploads: Sequence[UploadedFile[bytes]], brought: Brought) -> list[_File]:
    """Within a limit of bytes and of time for all: a small archive holds many bytes, and a form
    many archives."""
    files: list[_File] = []
    left, until = MOST_BYTES, time.monotonic() + MOST_S
    for upload in uploads:
        if left <= 0 or time.monotonic() > until:
            brought.lines.append(
                _("{name} and the files after it are more than is taken at once: bring them next.")
                .format(name=_shown(upload.name or ""))
            )  # fmt: skip
            break
        found = _files(upload, brought)
        left -= sum(len(each.raw or b"") for each in found)
        files += found
    return files


def _files(upload: UploadedFile[bytes], brought: Brought) -> list[_File]:
    name = _shown(upload.name or "drawing.dxf")
    try:
        raw = upload_bytes(upload, MAX_DRAWING_BYTES)
    except ValidationError as problem:
        return [_File(name, None, " ".join(problem.messages))]
    if not raw.startswith(b"PK\x03\x04") or name.lower().endswith(".xlsx"):
        return [_File(name, raw)]
    try:
        held: list[Packed] = read_apart("packed", raw, MOST_FILES + MOST_LISTS, MAX_DRAWING_BYTES)
    except ValueError as problem:
        brought.lines.append(f"{name}: {to_reader(told(problem), inch=False)}.")
        return []
    if not held:
        brought.lines.append(_("{name}: there is no file in it.").format(name=name))
    return [_File(_shown(one.name), one.raw, to_reader(one.problem, inch=False)) for one in held]


def _shown(name: str) -> str:
    """A file's name as a page and a database can hold it; of a long one the end, which tells."""
    return name.encode("utf-8", "replace").decode("utf-8").replace("\0", "?")[-MOST_NAME:]


def _plain(name: str) -> str:
    """A file as a list may name it: without folders, letters of any case, with or without .dxf."""
    return name.replace("\\", "/").rsplit("/", 1)[-1].strip().lower().removesuffix(".dxf")


def _rows(lists: Sequence[_File], brought: Brought) -> dict[str, tuple[str, Row]]:
    """Rows of lists by the file they are of."""
    found: dict[str, tuple[str, Row]] = {}
    for each in lists:
        try:
            rows = [] if each.raw is None else _table(each.raw)
        except ListError as problem:
            said = to_reader(problem.message, inch=False)
            brought.lines.append(f"{each.name}:{problem.line}: {said}.")
            continue
        if each.problem:
            brought.lines.append(f"{each.name}: {each.problem}.")
        for row in rows:
            if _plain(row.text("file")) in found:
                brought.lines.append(
                    _("{list}, line {line}: {name} is there twice; the first counts.").format(
                        list=each.name, line=row.line, name=row.text("file")[:80]
                    )
                )
            else:
                found[_plain(row.text("file"))] = (each.name, row)
    return found


def _table(raw: bytes) -> list[Row]:
    """UTF-8, or what older spreadsheets write."""
    try:
        raw.decode("utf-8-sig")
        encoding = "utf-8"
    except UnicodeDecodeError:
        encoding = "cp1252"
    return read_table(raw, columns=COLUMNS, needed=("file",), aliases=HEADINGS, encoding=encoding)


def _part(
    each: _File, listed: tuple[str, Row] | None, words: Mapping[str, Sequence[str]]
) -> PartFound:
    """What the list says stands above what the name says."""
    if each.raw is None:
        return PartFound(each.name, problem=each.problem)
    named = read_name(each.name, words)
    said = {
        "part": named.part, "quantity": str(named.quantity or ""), "material": named.material,
        "thickness": named.thickness,
    }  # fmt: skip
    source = [to_reader(doubt, inch=False) for doubt in named.doubts]
    understood = [said[key] for key in ("quantity", "material", "thickness") if said[key]]
    if understood:
        source.insert(0, _("from its name: {said}").format(said=", ".join(understood)))
    if listed is not None:
        list_name, row = listed
        said |= {key: row.text(key) for key in COLUMNS[1:] if row.text(key)}
        said["material"] = _material(said["material"], words)
        source.insert(0, _("from {list}, line {line}").format(list=list_name[-40:], line=row.line))
    return PartFound(
        each.name, upload_keep(each.raw, "drawing"), "", said["part"][:80],
        said["quantity"][:12], said["material"][:80], said["thickness"][:40],
        "; ".join(source)[:300],
    )  # fmt: skip


def _material(text: str, words: Mapping[str, Sequence[str]]) -> str:
    """A code as a list writes it, or by the material's name; as it stands where it is neither."""
    plain = text.strip().casefold()
    for code, own in words.items():
        if plain in {word.casefold() for word in own}:
            return code
    return text


def drawings_read(asked: Sequence[tuple[bytes, calc.Reading]]) -> list[calc.Drawing | ValueError]:
    """Each as it is read, or why it cannot be. Many share a process of their own; where that one
    passes a limit, each of its drawings gets one to itself: one costs the others nothing."""
    found: list[calc.Drawing | ValueError] = []
    until = time.monotonic() + MOST_S
    for first in range(0, len(asked), A_CHILD):
        some = asked[first : first + A_CHILD]
        try:
            found += read_apart("drawings", some)
        except TooCostly:
            found += [_alone(raw, reading, until) for raw, reading in some]
    return found


def _alone(raw: bytes, reading: calc.Reading, until: float) -> calc.Drawing | ValueError:
    if time.monotonic() > until:
        return TooCostly(_("The drawings before it took too long: bring it by itself."))
    try:
        read: calc.Drawing = read_apart("drawing", raw, reading)
    except ValueError as problem:
        return problem
    return read
