"""What rows of a job list mean; no database."""

from __future__ import annotations

import io
import zipfile
from contextlib import suppress
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopfloor.files.read_list import ListError, neutral, read_table
from shopfloor.files.workbook import read_workbook
from shopfloor.jobs.list_rows import ALIASES, COLUMNS, NEEDED, RowError, due_of, money_of, read_row

CHICAGO = ZoneInfo("America/Chicago")
FAMILIES = {"A36": "mild steel", "304": "stainless"}
FIXTURES = Path(__file__).parents[3] / "fixtures" / "jobs"


def rows(text: bytes | str, encoding: str = "utf-8"):
    raw = text if isinstance(text, bytes) else text.encode()
    return read_table(raw, columns=COLUMNS, needed=NEEDED, aliases=ALIASES, encoding=encoding)


def understood(text, **how):
    return [read_row(r, families=FAMILIES, zone=CHICAGO, **how) for r in rows(text)]


def test_the_sample_reads_as_it_is_meant():
    found = understood((FIXTURES / "jobs.csv").read_bytes())
    assert [(r.line, r.job, r.number, r.quantity) for r in found] == [
        (2, "K-3001", 1, 24),
        (3, "K-3001", 2, 48),
        (4, "K-3002", 1, 12),
        (5, "K-3003", None, 60),
        (6, "K-3003", None, 60),
    ]
    # 13:30 on 8 October in Chicago is daylight time, UTC-5.
    assert found[0].due_at == datetime(2026, 10, 8, 18, 30, tzinfo=UTC)
    # 1/4 in = 6.35 mm; 16 ga stainless 1/16 in = 1.5875 mm (old US Standard Gauge, 40 oz / 640 in).
    assert [round(r.thickness_mm, 4) for r in found] == [20, 6.35, 1.5875, 6.35, 6.35]
    assert found[2].thickness_text == "16 ga"
    assert found[2].must_be_fine
    assert found[2].quote == Decimal("1180.50")


def test_semicolons_and_decimal_commas_are_read():
    found = understood((FIXTURES / "jobs-semicolon.csv").read_bytes())
    assert found[0].quote == Decimal("960.50")
    # 1 November 2026, 08:00: clocks went back at 02:00, so UTC-6.
    assert found[0].due_at == datetime(2026, 11, 1, 14, 0, tzinfo=UTC)


def test_a_workbook_reads_like_its_csv():
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    sheet.append(["Job", "Customer", "Title", "Due", "Part", "Qty", "Material", "Thickness"])
    sheet.append(["K-1", "X", "Y", datetime(2026, 10, 8, 13, 30), "p", 24, 304, "16 ga"])
    sheet.append([])
    sheet.append(["K-1", None, None, None, "q", 3.0, "A36", 6])
    out = io.BytesIO()
    book.save(out)
    found = understood(out.getvalue())
    assert [(r.line, r.part, r.quantity, r.material) for r in found] == [
        (2, "p", 24, "304"),
        (4, "q", 3, "A36"),
    ]
    assert found[0].due_at == datetime(2026, 10, 8, 18, 30, tzinfo=UTC)
    assert found[1].thickness_mm == 6


def test_a_byte_order_mark_is_no_column():
    assert (
        rows(b"\xef\xbb\xbfjob,part,quantity,material,thickness\nK,p,1,A36,6 mm\n")[0].text("job")
        == "K"
    )


def test_old_spreadsheet_letters_are_refused_by_line_and_read_when_named():
    text = "job,part,quantity,material,thickness\nK,p,1,A36,6 mm\nK,Tür,1,A36,6 mm\n"
    raw = text.encode("cp1252")
    with pytest.raises(ListError, match="Windows-1252") as refused:
        rows(raw)
    assert refused.value.line == 3
    assert rows(raw, "cp1252")[1].text("part") == "Tür"


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ("", 1, "empty"),
        ("job,part\nK,p\n", 1, "'quantity' is missing"),
        ("job,colour,part,quantity,material,thickness\n", 1, "unknown column 'colour'"),
        ("job,job,part,quantity,material,thickness\n", 1, "twice"),
        ("job,part,quantity,material,thickness\n", 1, "no rows"),
        ("job,part,quantity,material,thickness\nK,p,1,A36,6,7\n", 2, "6 cells"),
        ('job,part,quantity,material,thickness\nK,"p,1,A36,6\n', 2, "CSV"),
        (b"job,part,quantity,material,thickness\nK,\x00,1,A36,6\n", 2, "not a text file"),
        (b"\xff\xfej\x00o\x00b\x00", 1, "UTF-16"),
        (b"PK\x03\x04 no workbook at all", 1, "XLSX"),
    ],
)
def test_a_file_that_cannot_be_taken_says_where_and_why(text, line, what):
    with pytest.raises(ListError) as refused:
        rows(text)
    assert refused.value.line == line
    assert what in refused.value.message


def test_one_row_tells_all_that_is_wrong_with_it():
    bad = rows((FIXTURES / "jobs-faults.csv").read_bytes())[1]
    with pytest.raises(RowError) as refused:
        read_row(bad, families=FAMILIES, zone=CHICAGO)
    for what in ("20 October", "'forty'", "'unobtainium'", "6 furlongs"):
        assert what in str(refused.value)


def test_a_date_alone_means_by_the_end_of_that_day():
    assert due_of("2026-10-08", CHICAGO) == datetime(2026, 10, 9, 4, 59, tzinfo=UTC)


def test_slashed_dates_are_not_guessed():
    with pytest.raises(RowError, match="month or day"):
        due_of("10/08/2026", CHICAGO)
    assert due_of("10/08/2026 12:00", CHICAGO, "month").month == 10
    assert due_of("10/08/2026 12:00", CHICAGO, "day").month == 8


@pytest.mark.parametrize("text", ["2026-02-30", "1999-01-01", "2026-10-08 25:00", "soon"])
def test_what_is_no_date_is_refused(text):
    with pytest.raises(RowError):
        due_of(text, CHICAGO)


@pytest.mark.parametrize(
    ("text", "amount"),
    [("", None), ("$1,234.50", "1234.50"), ("1234,5", "1234.5"), ("1,234", "1234"), ("7", "7")],
)
def test_amounts_are_exact(text, amount):
    assert money_of(text) == (None if amount is None else Decimal(amount))


@pytest.mark.parametrize("text", ["-5", "1.2.3", "1e9", "a lot", "1,23,4"])
def test_what_is_no_amount_is_refused(text):
    with pytest.raises(RowError):
        money_of(text)


@given(st.binary(max_size=300))
def test_no_bytes_break_the_reader(raw):
    try:
        for row in rows(b"job,part,quantity,material,thickness\n" + raw):
            read_row(row, families=FAMILIES, zone=CHICAGO)
    except (ListError, RowError):
        pass


def workbook() -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    book.active.append(["job", "part", "quantity", "material", "thickness"])
    book.active.append(["K", "p", 1, "A36", "6 mm"])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@given(st.data())
def test_no_damage_to_a_workbook_breaks_the_reader(data):
    """Called here, not in its process: a process for each of a hundred files takes a minute."""
    raw = bytearray(WORKBOOK)
    for _ in range(data.draw(st.integers(1, 5))):
        raw[data.draw(st.integers(4, len(raw) - 1))] ^= data.draw(st.integers(1, 255))
    cut = data.draw(st.integers(4, len(raw)))
    with suppress(ListError):
        assert all(cells for _, cells in read_workbook(bytes(raw[:cut])))


WORKBOOK = workbook()


def test_a_workbook_that_unpacks_to_far_more_is_refused():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", b"0" * (101 * 1024 * 1024))
    assert len(out.getvalue()) < 200_000
    with pytest.raises(ListError, match="100 MB"):
        rows(out.getvalue())


@given(st.text(max_size=40))
def test_a_cell_handed_out_never_begins_a_formula(text):
    assert neutral(text)[:1] not in ("=", "+", "-", "@", "\t", "\r")
    assert neutral(text).removeprefix("'") == text.removeprefix("'")
