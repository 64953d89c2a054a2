"""From a file's bytes to a DXF document; everything that can be wrong with a file ends here."""

from __future__ import annotations

import io
import logging
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planning.calc.drawing.kinds import other_kind
from planning.calc.drawing.types import DrawingError, legible
from planning.calc.said import said

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

# What it mends it would say by the hundred, with bytes no log can hold; we say it once, as a note.
logging.getLogger("ezdxf").setLevel(logging.CRITICAL)

MOST_BYTES = 64 * 1024 * 1024
_BINARY = b" Binary DXF\r\n\x1a\x00"  # bytes 7 to 22 of every binary file
_EOF = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*(?:\r\n|\n|\r)[ \t]*EOF[ \t]*(?:[\r\n]|$)")
_LINE = re.compile(r"\bline[: ]+(\d+)", re.I)


@dataclass(frozen=True, slots=True)
class Opened:
    document: Document
    mended: str | None  # what the second, lenient reading had to repair


def open_document(raw: bytes) -> Opened:
    """Reads ASCII and binary DXF of any release. A file that the strict reader refuses is read
    again leniently, and what was mended is told. Raises ``DrawingError``."""
    _look(raw)
    try:
        return Opened(_strict(raw), None)
    except DrawingError:
        raise
    except MemoryError:
        raise DrawingError(said("The drawing does not fit into memory.")) from None
    except Exception as problem:  # a damaged file can break the reader at any statement of it
        return _lenient(raw, problem)


def _look(raw: bytes) -> None:
    if not raw.strip():
        raise DrawingError(said("The file is empty."), "1")
    if len(raw) > MOST_BYTES:
        raise DrawingError(
            said("The drawing is over {most_bytes} MB.", most_bytes=MOST_BYTES // 1024 // 1024)
        )
    if told := other_kind(raw):
        raise DrawingError(told, "1")
    if raw[7:22] == _BINARY:
        if b"EOF\x00" not in raw[-256:]:
            raise DrawingError(said("The file is cut short: its end mark is missing."))
        return
    if b"SECTION" not in raw[: 1024 * 1024]:
        raise DrawingError(said("This is not a DXF file: it has no SECTION."), "1")
    if not _EOF.search(raw):
        lines = raw.count(b"\n") + 1
        raise DrawingError(
            said("The file is cut short: its end mark (0, EOF) is missing."), str(lines)
        )


def _strict(raw: bytes) -> Document:
    from ezdxf.document import Drawing as Document
    from ezdxf.filemanagement import dxf_stream_info
    from ezdxf.lldxf.tagger import binary_tags_loader

    if raw[7:22] == _BINARY:
        return Document.load(binary_tags_loader(raw))
    flat = raw.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    encoding = dxf_stream_info(io.StringIO(flat.decode("utf-8", errors="ignore"))).encoding
    return Document.read(io.StringIO(flat.decode(encoding, errors="surrogateescape")))


def _lenient(raw: bytes, problem: Exception) -> Opened:
    told = " ".join(str(problem).split())[:200] or type(problem).__name__
    place = _LINE.search(told)
    where = place.group(1) if place else None
    if raw[7:22] == _BINARY:
        raise DrawingError(said("The binary DXF cannot be read: {told}", told=told), where)
    from ezdxf import recover

    try:
        document, _ = recover.read(io.BytesIO(raw))
    except Exception as second:  # likewise
        raise DrawingError(said("The DXF cannot be read: {told}", told=told), where) from second
    return Opened(document, legible(told))
