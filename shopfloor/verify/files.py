"""Uploaded files: each that a record names is there with the bytes it had."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings

from shopfloor.files.uploads import INCOMING, upload_path
from shopfloor.models import DrawingRevision, Heat, Incoming, NestRevision
from telemetry.said import noop as N_
from telemetry.said import said, said_of_many
from telemetry.verify.findings import Finding, listed

_PIECE = 1 << 20
FAULTS = {
    "file missing": N_("The file of {whose} ({name}) is not there."),
    "file unreadable": N_("The file of {whose} ({name}) cannot be read."),
    "file changed": N_("The file of {whose} ({name}) is no longer what was uploaded."),
}
STILL_TO_READ = {
    "file missing": N_("The file {name}, still to be read in, is not there."),
    "file unreadable": N_("The file {name}, still to be read in, cannot be read."),
    "file changed": N_("The file {name}, still to be read in, is no longer what was uploaded."),
}


def check_files() -> Iterator[Finding]:
    """Also lists files that no record names; they take room and do no harm."""
    named: set[str] = set()
    for name, digest, whose in _kept():
        named.add(name)
        path = Path(settings.MEDIA_ROOT) / name
        if code := _fault(path, digest):
            yield Finding(code, whose, said(FAULTS[code], whose=whose, name=name))
    left = sorted(_files(Path(settings.MEDIA_ROOT)) - named)
    if left:
        yield Finding(
            "leftover files", "files",
            said_of_many(
                "{number} file belongs to no record and could be deleted: {files}.",
                "{number} files belong to no record and could be deleted: {files}.",
                len(left),
                files=listed(left, len(left)),
            ),
            fault=False,
        )  # fmt: skip
    yield from _uploads()
    yield from _programs()


def _kept() -> Iterator[tuple[str, str, str]]:
    """(file name, SHA-256, whose) of every file a record names."""
    drawings = DrawingRevision.objects.order_by().values_list(
        "file", "bytes_sha256", "drawing__name", "revision"
    )
    for name, digest, drawing, revision in drawings.iterator():
        yield (
            name,
            digest,
            said("drawing {drawing}, revision {revision}", drawing=drawing, revision=revision),
        )
    heats = Heat.objects.exclude(certificate="").order_by()
    rows = heats.values_list("certificate", "certificate_sha256", "number")
    for name, digest, number in rows.iterator():
        yield name, digest, said("the certificate of heat {number}", number=number)


def _fault(path: Path, digest: str) -> str:
    """A code of `FAULTS`; "" where the file is as it was uploaded."""
    found = hashlib.sha256()
    try:
        with path.open("rb") as handle:
            while piece := handle.read(_PIECE):
                found.update(piece)
    except FileNotFoundError:
        return "file missing"
    except OSError:
        return "file unreadable"
    return "" if found.hexdigest() == digest else "file changed"


def _files(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}


def _uploads() -> Iterator[Finding]:
    """Long files still to be read in lie apart, under their hash."""
    for incoming in Incoming.objects.filter(state__in=("waiting", "reading")):
        path = upload_path(incoming.digest, INCOMING)
        if code := _fault(path, incoming.digest):
            yield Finding(code, incoming.name, said(STILL_TO_READ[code], name=incoming.name))


def _programs() -> Iterator[Finding]:
    """Cut programs are kept in the database, with their hash beside them."""
    rows = NestRevision.objects.order_by("pk").values_list(
        "program", "bytes_sha256", "nest__name", "revision"
    )
    for program, digest, nest, revision in rows.iterator(100):
        if hashlib.sha256(bytes(program)).hexdigest() != digest:
            words = said(
                "The program of nest {nest}, revision {revision}, is no longer what was kept.",
                nest=nest,
                revision=revision,
            )
            yield Finding("program changed", nest, words)
