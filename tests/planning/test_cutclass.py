from __future__ import annotations

import json

import pytest
from django.core.management import call_command


def classed(capsys, u: str, rz5: str, thickness: str) -> dict:
    call_command("cutclass", "--u", u, "--rz5", rz5, "--thickness", thickness, "--json")
    return json.loads(capsys.readouterr().out)


def test_ranges_and_designation(capsys):
    # ISO 9013:2017 at 6 mm: range 3 of u ends at 0.46 mm, range 4 of Rz5 at 120.8 micrometres.
    assert classed(capsys, "0.46", "120.8", "6") == {
        "u_range": 3, "rz5_range": 4, "designation": "ISO 9013-340",
    }  # fmt: skip
    assert classed(capsys, "0.460001", "77.2", "6")["designation"] == "ISO 9013-430"


def test_outside_is_null_and_has_no_designation(capsys):
    assert classed(capsys, "9", "10", "6") == {
        "u_range": None, "rz5_range": 1, "designation": None,
    }  # fmt: skip


def test_summary_in_words(capsys):
    call_command("cutclass", "--u", "9", "--rz5", "10", "--thickness", "6")
    assert "outside (above range 5)" in capsys.readouterr().out


@pytest.mark.parametrize("thickness", ["0.4", "151"])
def test_thickness_outside_the_scope_ends_with_status_2(capsys, thickness):
    with pytest.raises(SystemExit) as ended:
        call_command("cutclass", "--u", "0.1", "--rz5", "10", "--thickness", thickness, "--json")
    assert ended.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "0.5 to 150 mm" in said.err
