"""Files brought for drawings that are none: what they are, and what to do."""

from __future__ import annotations

import io
import zipfile

import pytest
from openpyxl import Workbook
from PIL import Image

from planning.calc.drawing import DrawingError, read_drawing
from planning.calc.drawing.kinds import other_kind
from tests.planning.calc.drawing.made import binary, dxf, square


def picture(kind: str) -> bytes:
    held = io.BytesIO()
    Image.new("RGB", (4, 4)).save(held, kind)
    return held.getvalue()


def archive() -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as packed:
        packed.writestr("a.dxf", "0")
    return held.getvalue()


def workbook() -> bytes:
    held = io.BytesIO()
    Workbook().save(held)
    return held.getvalue()


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"AC1032\0\0\0", "a DWG drawing (2018), which cannot be read: save it as DXF"),
        (b"AC1015\0\0\0", "a DWG drawing (2000)"),
        (b"AC1099\0\0\0", "a DWG drawing (AC1099)"),
        (b"AC1.50\0\0\0", "a DWG drawing (AC1.50)"),
        (b"%PDF-1.7\n", "This is a PDF"),
        (b"%!PS-Adobe-3.0\n", "a PostScript file"),
        (archive(), "a ZIP archive, or an office file"),
        (workbook(), "a ZIP archive, or an office file"),
        (b"Rar!\x1a\x07\0", "a RAR archive"),
        (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
        (b"\x1f\x8b\x08", "a gzip archive"),
        (b"ISO-10303-21;\nHEADER;", "a model in three dimensions"),
        (b"solid part\nfacet normal 0 0 1", "a model in three dimensions"),
        (b" " * 72 + b"S      1\r\n", "a model in three dimensions"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a file of another program"),
        (b'<?xml version="1.0"?>\n<!-- made by hand -->\n<svg>', "an SVG picture"),
        (b"\xef\xbb\xbf<svg>", "an SVG picture"),
        (b"<!doctype html><html>", "a web page"),
        *((picture(kind), "a picture") for kind in ("PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP")),
    ],
)
def test_what_is_no_dxf_is_named_with_what_to_do(raw, said):
    with pytest.raises(DrawingError) as refused:
        read_drawing(raw)
    assert said in refused.value.message
    assert refused.value.place == "1"


@pytest.mark.parametrize(
    "raw", [dxf(square), binary(square), b"\xef\xbb\xbf" + dxf(square),
            b"999\nSOLID state\n" + dxf(square)],
)  # fmt: skip
def test_a_drawing_is_never_taken_for_another_kind(raw):
    assert other_kind(raw) is None
    assert read_drawing(raw).cut_mm == 400
