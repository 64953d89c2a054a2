from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

ROOT = Path(__file__).parents[2]
PROGRAMS = ROOT / "fixtures" / "programs"
TWO_PARTS = str(PROGRAMS / "two_parts.nc")
CHART = ["--chart", str(PROGRAMS / "chart.csv"), "--set", "60 A fine", "--material", "mild steel"]
TABLE = ["--accel", "1000", "--rapid", "20000"]
KEYS = {
    "cut_mm", "travel_mm", "pierces", "cut_s", "pierce_s", "travel_s", "arc_on_s", "total_s",
    "extents_mm", "arcs", "notes",
}  # fmt: skip


def run(capsys, *options: str) -> dict:
    call_command("plancut", *options, *TABLE, "--json")
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    return json.loads(out)


def refused(capsys, *options: str) -> str:
    with pytest.raises(SystemExit) as ended:
        call_command("plancut", *options)
    assert ended.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    return said.err.strip()


def test_json_has_the_promised_keys(capsys):
    found = run(capsys, TWO_PARTS, "--speed", "2000", "--pierce-delay", "0.1", "--touch-off", "2")
    assert found.keys() >= KEYS
    # By hand, as in the contours' test: 5 + 10 pi, 125, 105 + 7.5 pi.
    assert found["cut_mm"] == pytest.approx(235 + 17.5 * math.pi, rel=1e-12)
    assert found["pierces"] == 3
    assert found["pierce_s"] == pytest.approx(3 * (0.1 + 0.4))
    assert found["total_s"] == pytest.approx(found["arc_on_s"] + found["travel_s"] + 6)
    assert found["extents_mm"] == pytest.approx([5, 0, 80, 42.5])
    assert len(found["arcs"]) == 3


def test_json_says_each_contour(capsys):
    """By hand, as in the contours' test: a circle of radius 5 within 30 x 30 less 5 a side, then a
    part of its own; and a square within a hole within a square, which is a part."""
    found = run(capsys, TWO_PARTS, "--speed", "2000")["contours"]
    assert [each["number"] for each in found] == [1, 2, 3]
    assert [each["inside"] for each in found] == [2, None, None]
    assert [each["closed"] for each in found] == [True] * 3
    lengths = [each["length_mm"] for each in found]
    assert lengths == pytest.approx([5 + 10 * math.pi, 125, 105 + 7.5 * math.pi])
    assert found[0]["area_mm2"] == pytest.approx(25 * math.pi)


def test_json_of_a_part_in_a_hole_and_of_an_open_cut(capsys, tmp_path):
    def square(at, side):
        far = at + side
        return f"G0 X{at} Y{at}\nM3\nG1 X{far}\nY{far}\nX{at}\nY{at}\nM5\n"

    program = tmp_path / "ring.nc"
    cuts = square(40, 20) + square(20, 60) + square(0, 100)
    program.write_text(cuts + "G0 X200\nM3\nG1 X230\nM5\n")
    found = run(capsys, str(program), "--speed", "2000")["contours"]
    assert [each["inside"] for each in found] == [None, 3, None, None]
    assert [each["area_mm2"] for each in found] == pytest.approx([400, 3600, 10_000, None])
    assert [each["closed"] for each in found] == [True, True, True, False]


def test_corner_and_tolerance_are_options(capsys):
    stop = run(capsys, TWO_PARTS, "--speed", "2000", "--corner", "stop")["cut_s"]
    tight = run(capsys, TWO_PARTS, "--speed", "2000", "--tolerance", "0.01")["cut_s"]
    loose = run(capsys, TWO_PARTS, "--speed", "2000", "--corner", "blend", "--tolerance", "0.5")
    assert stop > tight > loose["cut_s"]


def test_torch_codes_are_options(capsys):
    name = str(PROGRAMS / "inch_exact_stop.nc")
    found = run(capsys, name, "--torch-on", "m07", "--torch-off", "M8")
    # By hand: a square of 2 x 1 in; the program's F80 in/min counts, no speed being given.
    assert found["cut_mm"] == pytest.approx(6 * 25.4)
    v, a = 80 * 25.4 / 60, 1000
    assert found["cut_s"] == pytest.approx(6 * 25.4 / v + 4 * v / a)
    nothing = run(capsys, name, "--speed", "1000")
    assert nothing["pierces"] == 0
    assert nothing["extents_mm"] is None
    assert {"line": 4, "text": "M7 is passed over"} in nothing["notes"]


def test_chart_in_place_of_speed_and_delays(capsys):
    found = run(capsys, TWO_PARTS, *CHART, "--thickness", "6")
    assert found["chart"]["lines"] == [4]
    assert found["chart"]["speed_mm_min"] == 1800
    assert found["pierce_s"] == pytest.approx(3 * (0.4 + 0.4))
    assert found["total_s"] == pytest.approx(found["arc_on_s"] + found["travel_s"] + 3 * 1.5)
    between = run(capsys, TWO_PARTS, *CHART, "--thickness", "5/32 in")
    assert between["chart"]["lines"] == [3, 4]
    # By hand: log-log between 3 mm at 4200 and 6 mm at 1800.
    share = math.log(3.96875 / 3) / math.log(2)
    assert between["chart"]["speed_mm_min"] == pytest.approx(4200 * (1800 / 4200) ** share)


def test_edge_start_above_the_pierce_limit(capsys):
    asked = [TWO_PARTS, *CHART, "--thickness", "12"]
    assert "chart.csv:5: " in refused(capsys, *asked, *TABLE)
    assert run(capsys, *asked, "--edge-start")["chart"]["start"] == "edge"


def test_a_readable_summary_without_json(capsys):
    call_command("plancut", TWO_PARTS, *TABLE, *CHART, "--thickness", "4")
    out = capsys.readouterr().out
    assert "3 pierces" in out
    assert "interpolated" in out
    call_command("plancut", str(PROGRAMS / "torch_left_on.nc"), *TABLE)
    assert "line 8: the torch is left burning" in capsys.readouterr().out


def test_a_bad_program_is_refused_with_file_and_line(capsys, tmp_path):
    bad = tmp_path / "bad.nc"
    bad.write_text("G21\nG0 X1\nG2 X5\n")
    said = refused(capsys, str(bad), *TABLE, "--speed", "1000")
    assert said == f"{bad}:3: an arc needs I or J, or R"


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([TWO_PARTS, *TABLE, *CHART, "--thickness", "20"], "chart.csv:5: 20 mm is beyond"),
        ([TWO_PARTS, *TABLE, *CHART, "--thickness", "thick"], "--thickness"),
        ([TWO_PARTS, *TABLE, *CHART], "--chart needs"),
        ([TWO_PARTS, *TABLE, "--set", "A"], "need --chart"),
        ([TWO_PARTS, *TABLE, *CHART, "--thickness", "6", "--speed", "5"], "takes the place of"),
        ([TWO_PARTS, *TABLE, "--speed", "0"], "speed_mm_min must be above zero"),
        ([TWO_PARTS, *TABLE, "--speed", "1e308"], "above zero, 1e-06 to 1e+09"),
        ([TWO_PARTS, "--accel", "1", "--rapid", "1e-320"], "rapid_mm_min must be above zero"),
        ([TWO_PARTS, *TABLE, "--speed", "1", "--touch-off", "1e300"], "below zero or above"),
        ([TWO_PARTS, "--accel", "0", "--rapid", "1"], "accel_mm_s2"),
        ([TWO_PARTS, *TABLE, "--torch-on", "M5"], "the same code"),
        ([TWO_PARTS, *TABLE, "--torch-on", "on"], "M code"),
        ([str(PROGRAMS / "bare_modal.nc"), *TABLE], "bare_modal.nc:5: no cutting speed"),
        (["nosuch.nc", *TABLE], "nosuch.nc:1: cannot be read"),
    ],
)
def test_bad_input_is_one_line_and_status_2(capsys, options, said):
    assert said in refused(capsys, *options)


def test_from_the_command_line_it_needs_no_database(tmp_path):
    def manage(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "manage.py", "plancut", *words],
            cwd=ROOT, env={**os.environ, "KERFBOOK_DATA": str(tmp_path)}, text=True,
            capture_output=True, check=False,
        )  # fmt: skip

    good = manage(TWO_PARTS, *TABLE, "--json")
    assert good.returncode == 0, good.stderr
    assert json.loads(good.stdout)["pierces"] == 3
    bad = manage(TWO_PARTS, "--rapid", "fast", "--accel", "1")
    assert bad.returncode == 2
    assert bad.stdout == ""
    assert bad.stderr == "plancut: argument --rapid: invalid number value: 'fast'\n"
