from __future__ import annotations

import json
import math

import pytest
from django.core.management import call_command

from tests.planning.calc.drawing.made import UNITLESS, dxf, square


def plate(space) -> None:
    square(space)
    space.add_circle((50, 50), 10)
    space.add_line((10, 10), (30, 10), dxfattribs={"layer": "ETCH"})
    space.add_text("4 off")


@pytest.fixture
def put(tmp_path):
    def write(raw: bytes) -> str:
        path = tmp_path / "part.dxf"
        path.write_bytes(raw)
        return str(path)

    return write


def test_layers_contours_and_notes_as_json(put, capsys):
    call_command("drawing", put(dxf(plate)), "--json")
    said = json.loads(capsys.readouterr().out)
    assert said["cut_mm"] == pytest.approx(400 + 20 * math.pi)
    assert said["net_area_mm2"] == pytest.approx(10_000 - 100 * math.pi)
    assert (said["mark_mm"], said["pierces"], said["unit"]) == (20, 2, "mm")
    assert [each["kind"] for each in said["contours"]] == ["hole", "outer"]
    hole = said["contours"][0]
    assert hole["closed"] is True
    assert hole["extents_mm"] == pytest.approx([40, 40, 60, 60])
    assert {layer["name"]: layer["role"] for layer in said["layers"]} == {
        "0": "cut", "ETCH": "mark",
    }  # fmt: skip
    assert any("TEXT" in note["text"] for note in said["notes"])


def test_layers_can_be_chosen(put, capsys):
    call_command("drawing", put(dxf(plate)), "--cut", "ETCH", "--ignore", "0", "--json")
    assert json.loads(capsys.readouterr().out)["cut_mm"] == 20


def test_summary_in_words(put, capsys):
    call_command("drawing", put(dxf(plate)))
    out = capsys.readouterr().out
    assert "100.0 by 100.0 mm (drawn in mm)" in out
    assert "layer ETCH: mark (named like marking); 1 LINE" in out


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "part.dxf:1: The file is empty."),
        (dxf(square)[:-6], "cut short"),
        (dxf(square, units=UNITLESS), "does not say its unit"),
        (dxf(lambda s: s.add_line((0, 0), (123.25, 0))).replace(b"123.25", b"nan"),
         "LINE on layer 0: a coordinate is not a number"),
    ],
)  # fmt: skip
def test_bad_input_ends_with_status_2_and_one_line(put, capsys, raw, said):
    with pytest.raises(SystemExit) as ended:
        call_command("drawing", put(raw), "--json")
    assert ended.value.code == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert said in told.err


def test_a_layer_with_two_roles_is_refused(put, capsys):
    with pytest.raises(SystemExit):
        call_command("drawing", put(dxf(plate)), "--cut", "0", "--mark", "0")
    assert "two roles" in capsys.readouterr().err
