"""Tables as files: plain values, units in the headings, no formula a spreadsheet would run."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime

import pytest
from django.template import Context, Template
from openpyxl import load_workbook

from shopfloor.files.export import Sheet, file_name, to_csv, to_xlsx
from shopfloor.web.tables import sheets_of
from shopfloor.wording.typed import machine, typed

HOSTILE = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "a\x00b\x0b", "ordinary"]
PAGE = """
<div role="region" aria-label="Runs"><table><thead>
<tr><th>Nest</th><th class="num">Took</th><th class="num">Cut</th><th>Began</th><th></th></tr>
</thead>
<tbody><tr><th><a href="/x/">N-1</a> <small>rev 2</small></th>
<td class="num"><data value="74.3" data-unit="min">1 h 14 min</data></td>
<td class="num"><data value="12" data-unit="m">12.00 m</data></td>
<td><time datetime="2026-10-08T13:30:00">Thu 8 Oct 13:30</time></td>
<td><form><button>Undo</button></form></td></tr>
<tr><th>N-2</th><td class="num"><span class="unknown">unknown</span></td><td class="num">–</td>
<td colspan="2">not yet</td></tr>
<tr class="total"><th>Together</th><td class="num"><data value="74.3">74</data></td></tr>
</tbody></table></div>
<div role="region" aria-label="Runs"><table><thead>
<tr><th rowspan="2">Line</th><th colspan="2">Late</th></tr>
<tr><th>Good</th><th>Scrap</th></tr></thead>
<tbody><tr><td>10</td><td class="num">3</td><td class="num">1</td></tr></tbody></table></div>
"""


def _rows(raw: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(raw.decode())))


def test_a_page_gives_its_tables_by_the_values_beside_the_words():
    sheets = sheets_of(PAGE)
    assert list(sheets) == ["Runs", "Runs #2"]
    runs, late = sheets.values()
    assert runs.heads == ["Nest", "Took, min", "Cut, m", "Began"]
    assert runs.rows == [
        ["N-1 rev 2", 74.3, 12, datetime(2026, 10, 8, 13, 30)],
        ["N-2", None, None, "not yet"],
    ]
    assert (late.heads, late.rows) == (["Line", "Late Good", "Late Scrap"], [["10", 3, 1]])


def test_what_a_spreadsheet_would_run_stays_text():
    sheet = Sheet("Jobs", ["Job"], [[text] for text in HOSTILE])
    assert [row[0][:1] for row in _rows(to_csv(sheet))[1:6]] == ["'"] * 5
    cells = [row[0] for row in load_workbook(io.BytesIO(to_xlsx(sheet))).active.iter_rows()]
    assert {cell.data_type for cell in cells} == {"s"}
    assert [cell.value for cell in cells][1:3] == ["=1+1", "+1"]


def test_numbers_and_days_are_values_in_both_files():
    at = datetime(2026, 10, 8, 13, 30)
    sheet = Sheet("A/B: [1]", ["n", "d", "t", "?"], [[-0.07, date(2026, 10, 8), at, None]])
    assert _rows(to_csv(sheet))[1] == ["-0.07", "2026-10-08", "2026-10-08 13:30", ""]
    [_, row] = load_workbook(io.BytesIO(to_xlsx(sheet))).active.iter_rows(values_only=True)
    assert row == (-0.07, datetime(2026, 10, 8), at, None)
    assert file_name(sheet, "xlsx") == "a-b-1.xlsx"
    assert file_name(Sheet("…", [], []), "csv") == "table.csv"


def test_words_with_a_value_are_marked_and_escaped():
    assert typed("a < b", 1.5, "mm").__html__() == (
        '<data value="1.5" data-unit="mm">a &lt; b</data>'
    )
    assert machine(datetime(2026, 10, 8, 11, 30, tzinfo=UTC)).startswith("2026-10-08T")
    assert f"{typed('7 min', 7, 'min')}!" == "7 min!"


@pytest.mark.parametrize("shown", ["{{ since|age }}", "{{ so_long|seconds_text }}"])
def test_what_stands_still_is_drawn_the_same_a_moment_later(shown, time_machine):
    """Today and the screens draw anew what has changed: a mark finer than its words would be."""
    pages = set()
    for second in (0, 20, 40):
        time_machine.move_to(datetime(2026, 10, 8, 12, 0, second, tzinfo=UTC), tick=False)
        page = Template("{% load office %}" + shown)
        since = datetime(2026, 10, 8, 11, 0, tzinfo=UTC)
        pages.add(page.render(Context({"since": since, "so_long": 3600.0 + second})))
    assert len(pages) == 1
    assert "60 min" in pages.pop()


def test_bare_words_in_a_column_of_numbers_are_numbers_where_no_language_doubts_it():
    cells = "".join(f'<tr><td class="num">{one}</td></tr>' for one in ("999", "1,204", "−5", "+12",
                    "1,204.5", "–", "12 of 14"))  # fmt: skip
    [sheet] = sheets_of(
        '<div class="scroll" role="region" aria-label="Starts"><table><thead><tr><th>n</th></tr>'
        f"</thead><tbody>{cells}</tbody></table></div>"
    ).values()
    # A bare mark says nothing of the language: what writes numbers keeps their value beside them.
    assert [row[0] for row in sheet.rows] == [999, "1,204", -5, 12, "1,204.5", None, "12 of 14"]
