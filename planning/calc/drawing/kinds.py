"""Files that are brought for drawings and are something else, told by their first bytes."""

from __future__ import annotations

import re
from typing import Final

from planning.calc.said import said

# The release that wrote a DWG, by its first six bytes.
_DWG: Final = {
    b"AC1009": "R12",
    b"AC1012": "R13",
    b"AC1014": "R14",
    b"AC1015": "2000",
    b"AC1018": "2004",
    b"AC1021": "2007",
    b"AC1024": "2010",
    b"AC1027": "2013",
    b"AC1032": "2018",
}
_PICTURES: Final = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"BM", b"II*\x00", b"MM\x00*", b"8BPS")
_PICTURE: Final = said(
    "This is a picture, and no lengths can be taken from it: ask for the DXF of the part."
)
_MODEL: Final = said(
    "This is a model in three dimensions: export the flat part as DXF, or ask for that."
)
_TELLS: Final = (
    (b"%PDF", said("This is a PDF, and its lines have no sure scale: ask for the DXF.")),
    (b"%!PS", said("This is a PostScript file: export it as DXF.")),
    (b"PK\x03\x04", said("This is a ZIP archive, or an office file: unpack it first.")),
    (b"Rar!", said("This is a RAR archive: unpack it first.")),
    (b"7z\xbc\xaf\x27\x1c", said("This is a 7z archive: unpack it first.")),
    (b"\x1f\x8b", said("This is a gzip archive: unpack it first.")),
    (b"ISO-10303", _MODEL),
    (b"solid ", _MODEL),
    (b"\xd0\xcf\x11\xe0", said("This is a file of another program: export the flat part as DXF.")),
    (b"<svg", said("This is an SVG picture, and its lines have no sure scale: ask for the DXF.")),
    (b"<!DOCTYPE", said("This is a web page: the download may have ended at a sign-in page.")),
    (b"<html", said("This is a web page: the download may have ended at a sign-in page.")),
)
_XML: Final = re.compile(rb"<\?xml[^>]*>\s*(?:<!--.*?-->\s*)?", re.S)
_IGES: Final = re.compile(rb".{72}[SBC][ 0]*1\s*[\r\n]")


def other_kind(raw: bytes) -> str | None:
    """What a file is that is no DXF, and what to do; None where nothing tells."""
    if raw[:4] in (b"AC10", b"AC1.", b"AC2.", b"MC0."):
        return said(
            "This is a DWG drawing ({release}), which cannot be read: save it as DXF where it "
            "was drawn, or ask for the DXF.",
            release=_DWG.get(raw[:6], raw[:6].decode("ascii", "replace")),
        )
    if raw.startswith(_PICTURES) or raw[8:12] == b"WEBP":
        return _PICTURE
    start = raw[:2048].lstrip(b"\xef\xbb\xbf \t\r\n")
    start = _XML.sub(b"", start, count=1)
    for tell, told in _TELLS:
        if start[: len(tell)].lower() == tell.lower():
            return told
    return _MODEL if _IGES.match(raw[:90]) else None
