"""Files made to cost minutes or gigabytes end in a sentence. Each was made and measured before the
limits stood; what it cost then is said beside it."""

from __future__ import annotations

import io
import random
import zipfile
import zlib

import ezdxf
import pytest
from openpyxl import Workbook

from planning.calc.drawing import DrawingError, Reading, read_drawing
from planning.calc.drawing import crossings as crossings_module
from planning.calc.program import Dialect, ProgramError, read_program
from shopfloor.files import apart
from shopfloor.files.apart import Limits, TooCostly, read_apart
from shopfloor.files.read_list import ListError, read_table
from shopfloor.terminal.photo_codes import PhotoError

SQUARE = b"G0 X10 Y10\nM3\nG1 X60 F2000\nY60\nX10\nY10\nM5\n"


def dxf(draw) -> bytes:
    document = ezdxf.new()
    document.units = 4
    draw(document.modelspace())
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode()


def workbook(fill) -> bytes:
    book = Workbook()
    fill(book.active)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def changed(raw: bytes, part: str, change) -> bytes:
    """The workbook with one part of its archive changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(out, "w", 8) as new:
        for entry in old.infolist():
            body = old.read(entry)
            new.writestr(entry.filename, change(body) if entry.filename == part else body)
    return out.getvalue()


def png(width: int, height: int) -> bytes:
    """A blank RGBA picture: 4 bytes a pixel once opened, next to none in the file."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        check = zlib.crc32(kind + body).to_bytes(4, "big")
        return len(body).to_bytes(4, "big") + kind + body + check

    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([8, 6, 0, 0, 0])
    press = zlib.compressobj(9)
    rows = b"".join(press.compress(bytes(4 * width + 1)) for _ in range(height)) + press.flush()
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def jobs(raw: bytes):
    return read_table(raw, columns=("job", "part"), needed=("job",))


def test_a_reader_gives_what_it_gives_here():
    here = read_program(SQUARE)
    there = read_apart("program", SQUARE, Dialect())
    assert there.path_hash == here.path_hash
    assert [each.length_mm for each in there.contours] == [200.0]
    drawn = dxf(lambda space: space.add_circle((0, 0), 10))
    assert read_apart("drawing", drawn, Reading()).cut_mm == read_drawing(drawn).cut_mm


def test_a_bad_file_raises_what_its_reader_raises():
    with pytest.raises(ProgramError) as program:
        read_apart("program", b"G0 X1\nG1 Xoops\n", Dialect())
    assert program.value.line == 2
    with pytest.raises(DrawingError) as drawing:
        read_apart("drawing", b"", Reading())
    assert (drawing.value.message, drawing.value.place) == ("The file is empty.", "1")
    with pytest.raises(PhotoError, match="cannot open that photo"):
        read_apart("photo", b"GIF89a")


def test_what_a_watcher_raises_ends_the_reading():
    class Stop(Exception):
        pass

    def stop(_done: int, _total: int) -> None:
        raise Stop

    with pytest.raises(Stop):
        read_apart("program", SQUARE, Dialect(), tell=stop)


@pytest.mark.parametrize(
    ("name", "limits", "said"),
    [
        ("spin", Limits(1, 512, 1), "took over 1 s"),
        ("sleep", Limits(0.2, 512, 1), r"took over 0\.2 s"),
        ("hoard", Limits(20, 256, 1), "over 256 MB of memory"),
        ("babble", Limits(20, 512, 1), "comes to over 1 MB"),
        ("crash", Limits(20, 512, 1), "ended the reader"),
        ("write", Limits(20, 512, 1), "ended the reader"),
    ],
)
def test_each_limit_says_which_was_passed(monkeypatch, tmp_path, name, limits, said):
    (tmp_path / "misbehaving.py").write_text(MISBEHAVING, encoding="utf-8")
    whole = apart.environment()
    monkeypatch.setattr(apart, "environment", lambda: whole | {"PYTHONPATH": str(tmp_path)})
    monkeypatch.setitem(apart.READERS, name, (f"misbehaving:{name}", limits))
    args = (str(tmp_path / "written"),) if name == "write" else ()
    with pytest.raises(TooCostly, match=said):
        read_apart(name, *args)
    assert not (tmp_path / "written").exists() or not (tmp_path / "written").read_bytes()


MISBEHAVING = """
import os
import time

def spin():
    while True:
        pass

def hoard():
    return [bytes(10_000_000) for _ in range(100)]

def crash():
    os.abort()

def write(path):
    with open(path, "wb") as out:
        out.write(b"x")

def sleep():
    time.sleep(30)

def babble():
    return bytes(2_000_000)
"""


def test_a_sheet_that_claims_every_column_is_read_as_it_is():
    """130 s before: each of its rows was filled up to 16,384 cells."""
    raw = workbook(lambda sheet: [sheet.append(["job", "part"]), sheet.append(["2284", "plate"])])
    wide = changed(
        raw,
        "xl/worksheets/sheet1.xml",
        lambda xml: xml.replace(b'ref="A1:B2"', b'ref="A1:XFD1048576"'),
    )
    assert wide != raw
    assert [row.cells for row in jobs(wide)] == [{"job": "2284", "part": "plate"}]


def test_empty_cells_far_to_the_right_are_not_kept():
    """1 GB kept before: 16,384 empty cells for each of its rows."""

    def fill(sheet):
        sheet.append(["job", "part"])
        for number in range(40):
            sheet.append([str(number), "plate"])
            sheet.cell(number + 2, 16_384).number_format = "0.00"

    read = apart.read_apart("workbook", workbook(fill))
    assert max(len(cells) for _, cells in read) == 2
    with pytest.raises(ListError, match="7: more than 200 columns"):
        jobs(workbook(lambda sheet: [fill(sheet), sheet.cell(7, 900, "far away")]))


def test_a_picture_of_few_bytes_and_many_pixels_is_refused():
    """3 GB before."""
    raw = png(8_000, 8_000)
    assert len(raw) < 400_000
    with pytest.raises(PhotoError, match="too many pixels"):
        read_apart("photo", raw)


def test_blocks_in_blocks_with_nothing_in_them_come_to_an_end():
    """19 s before, and ten times that with each level more."""

    def draw(space):
        space.doc.blocks.new("B0")
        for level in range(1, 8):
            block = space.doc.blocks.new(f"B{level}")
            for k in range(10):
                block.add_blockref(f"B{level - 1}", (k, level))
        space.add_blockref("B7", (0, 0))

    with pytest.raises(DrawingError, match="places more than 100,000 blocks"):
        read_apart("drawing", dxf(draw), Reading())


def tangle(corners: int) -> bytes:
    some = random.Random(3)
    points = [(some.randint(0, 999), some.randint(0, 999)) for _ in range(corners)]
    return dxf(lambda space: space.add_lwpolyline(points, close=True))


def test_an_outline_that_crosses_itself_everywhere_is_told_at_its_first_crossing(monkeypatch):
    """36 s and 1.4 GB before: all its crossings were found to name one."""
    looked = []
    meet = crossings_module._meet

    def counted(p, q, r, s):
        looked.append(len(p))
        return meet(p, q, r, s)

    monkeypatch.setattr(crossings_module, "_meet", counted)
    read = read_drawing(tangle(4_000))
    assert [note.text.split(" at ")[0] for note in read.faults] == [
        "contour 1 on layer 0 crosses itself"
    ]
    assert read.net_area_mm2 is None
    # 4,000 chords in one place: 16 of them, with all the others, are enough to know
    assert sum(looked) < 16 * 4_000


def test_where_not_all_was_looked_at_the_area_is_unknown(monkeypatch):
    monkeypatch.setattr(crossings_module, "MOST_PAIRS", 50)
    read = read_drawing(tangle(40))
    assert read.contours[0].area_mm2 is None
    assert read.net_area_mm2 is None
    assert any("not all crossings were looked for" in note.text for note in read.faults)
