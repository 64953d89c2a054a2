from __future__ import annotations

from pathlib import Path

import pytest

from planning.calc.chart import ChartError, read_chart

CHART = Path(__file__).parents[4] / "fixtures" / "programs" / "chart.csv"


def test_every_column_is_read():
    row = read_chart(CHART.read_bytes())[1]
    assert (row.set, row.duty, row.gas, row.material) == ("60 A fine", "fine", "air", "mild steel")
    assert (row.current_a, row.thickness_mm, row.speed_mm_min) == (60, 6, 1800)
    assert (row.pierce_delay_s, row.touch_off_s, row.pierce_height_mm) == (0.4, 1.5, 3.0)
    assert (row.cut_height_mm, row.arc_v, row.kerf_mm, row.max_pierce_mm) == (1.5, 115, 1.6, 10)
    assert row.line == 4


def test_inches_gauges_and_blank_cells():
    text = (
        b"\xef\xbb\xbfSpeed_in_min,gauge,thickness_in,set,material,kerf_in,max_pierce_in,note\r\n"
        b"100,16,,A,mild steel,0.06,0.5,\r\n"
        b",,,,,,,\r\n"
        b'80,,1/4,A,mild steel,,,"slow, ""clean"""\r\n'
    )
    sheet, plate = read_chart(text)
    assert sheet.thickness_mm == pytest.approx(1.518, abs=0.001)
    assert sheet.thickness_text == "16 ga"
    assert sheet.speed_mm_min == pytest.approx(2540)
    assert sheet.kerf_mm == pytest.approx(1.524)
    assert sheet.max_pierce_mm == pytest.approx(12.7)
    assert plate.thickness_mm == pytest.approx(6.35)
    assert plate.kerf_mm is None
    assert (sheet.line, plate.line) == (2, 4)


HEAD = "set,material,thickness_mm,speed_mm_min\n"


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", 1, "no row"),
        (HEAD, 1, "no row"),
        ("set,material,thickness_mm\nA,steel,6\n", 1, "speed"),
        ("set,material,speed_mm_min\nA,steel,6\n", 1, "thickness"),
        ("material,thickness_mm,speed_mm_min\n", 1, "'set'"),
        (HEAD.replace("set", "sett"), 1, "not known"),
        (HEAD.replace("material", "set"), 1, "twice"),
        (HEAD + "A,steel,6,1000\nA,steel,x,1000\n", 3, "not a thickness"),
        (HEAD + "A,steel,6,fast\n", 2, "not a number"),
        (HEAD + "A,steel,6,0\n", 2, "above zero"),
        (HEAD + "A,steel,6,nan\n", 2, "above zero"),
        (HEAD + "A,steel,6,1e300\n", 2, "1e300 is above"),
        (HEAD + "A,steel,6,\n", 2, "speed is blank"),
        (HEAD + "A,steel,,1000\n", 2, "thickness is blank"),
        (HEAD + ",steel,6,1000\n", 2, "set is blank"),
        (HEAD + "A,steel,6,1000,7\n", 2, "columns"),
        (HEAD + 'A,"steel,6,1000\n', 2, "CSV"),
        (HEAD.strip() + ",gauge\nA,steel,6,1000,16\n", 2, "given twice"),
        (HEAD.strip() + ",speed_in_min\nA,steel,6,1000,16\n", 2, "two units"),
        ("set,material,gauge,speed_mm_min\nA,oak,16,1000\n", 2, "oak"),
    ],
)
def test_a_bad_chart_is_refused_with_its_line(text, line, said):
    with pytest.raises(ChartError, match=said) as caught:
        read_chart(text.encode())
    assert caught.value.line == line


def test_text_that_is_not_utf8_is_refused_with_its_line():
    with pytest.raises(ChartError) as caught:
        read_chart(HEAD.encode() + b"A,st\xe9el,6,1000\n")
    assert caught.value.line == 2
