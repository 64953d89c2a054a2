"""`readfeed FEED.toml FILE [--json]`: decode a sample, store nothing."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, NoReturn

from django.core.management.base import CommandParser

from telemetry.description import Description, read_description
from telemetry.errors import DescriptionError, SourceError
from telemetry.management.base import OneLineCommand
from telemetry.sample import Sample, as_json, decode_sample, json_pieces
from telemetry.worker.bulk import pause_garbage_collection

_BLOCK = 1 << 20
_SHOWN = 10


class Command(OneLineCommand):
    """Shows what a feed description makes of a file; touches no database."""

    help = "Decode a sample file with a feed description; nothing is stored."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Two files and the choice of JSON."""
        parser.add_argument("feed", metavar="FEED.toml", type=Path)
        parser.add_argument("file", metavar="FILE", help="the lines, - for standard input")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Decode and print."""
        try:
            description = read_description(options["feed"])
            with pause_garbage_collection():
                sample = decode_sample(description, _blocks(options["file"]))
        except (DescriptionError, SourceError) as error:
            self._fail(str(error))
        if options["json"]:
            for piece in json_pieces(sample, description):
                self.stdout.write(piece, ending="")
            self.stdout.write("")
        else:
            text = "\n".join(_summary(sample, description))
            encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
            self.stdout.write(text.encode(encoding, "backslashreplace").decode(encoding))

    def _fail(self, message: str) -> NoReturn:
        self.stderr.write(" ".join(message.split()))
        raise SystemExit(2)


def _blocks(name: str) -> Iterator[bytes]:
    """The file's bytes in blocks. Raises SourceError as `FILE:LINE: what is wrong`."""
    try:
        if name == "-":
            yield from _read(sys.stdin.buffer, name)
        else:
            with Path(name).open("rb") as stream:
                yield from _read(stream, name)
    except (OSError, ValueError) as error:
        what = getattr(error, "strerror", None) or str(error)
        raise SourceError(f"{name}:1: {what}") from error


def _read(stream: BinaryIO, name: str) -> Iterator[bytes]:
    block = stream.read(_BLOCK)
    if block.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise SourceError(f"{name}:1: this is UTF-16 text, save it as UTF-8")
    while block:
        yield block
        block = stream.read(_BLOCK)


def _summary(sample: Sample, description: Description) -> Iterator[str]:
    shown = as_json(sample, description)
    yield (
        f"{shown['lines']} lines: {shown['events']} events, {shown['rejected']} rejected, "
        f"{shown['duplicates']} duplicates, {shown['gaps']} gaps"
    )
    yield (
        f"{len(shown['arcs'])} arcs, {shown['stray_offs']} stray arc-offs, "
        f"{shown['stray_pierces']} stray pierces"
    )
    for arc in shown["arcs"][:_SHOWN]:
        on = arc["on"] or "time unknown"
        length = "length unknown" if arc["seconds"] is None else f"{arc['seconds']:.3f} s"
        pierces = "pierces unknown" if arc["pierces"] is None else f"{arc['pierces']} pierces"
        yield f"  torch {arc['torch']}: {on}, {length}, {pierces}, ended {arc['ended']}"
    if len(shown["arcs"]) > _SHOWN:
        yield f"  and {len(shown['arcs']) - _SHOWN} more"
    for reject in shown["rejects"][:_SHOWN]:
        yield f"  line {reject['line']}: {reject['message']}: {reject['text'][:80]!r}"
    if len(shown["rejects"]) > _SHOWN:
        yield f"  and {len(shown['rejects']) - _SHOWN} more rejects"
    if shown["unfinished"]:
        yield f"  last line is unfinished: {shown['unfinished'][:80]!r}"
