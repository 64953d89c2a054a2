from __future__ import annotations

import json
import math

import pytest
from django.core.management import call_command

from tests.planning.calc.life.data import NIST


def _file(folder, rows, head="life,ended"):
    path = folder / "pieces.csv"
    path.write_text("\n".join([head, *rows]) + "\n")
    return str(path)


def _run(capsys, path, *more):
    call_command("partlife", path, "--json", *more)
    return json.loads(capsys.readouterr().out)


def _nist():
    return [f"{life.age},{'failed' if life.ended else 'running'}" for life in NIST]


def test_the_handbooks_hours(tmp_path, capsys):
    """NIST e-Handbook 8.4.1.3 for the fit; Barlow & Proschan's closed form on it for the change."""
    costs = ("--planned-cost", "1", "--failure-cost", "5")
    found = _run(capsys, _file(tmp_path, _nist()), *costs)
    assert (found["n"], found["failures"]) == (20, 10)
    best = found["mle"]
    assert best["shape"] == pytest.approx(1.72079721, rel=1e-6)
    assert best["scale"] == pytest.approx(606.527558, rel=1e-6)
    assert best["log_likelihood"] == pytest.approx(-75.134618, rel=1e-6)
    assert best["change_at"] == pytest.approx(340.47764, rel=1e-4)
    assert best["cost_rate"] == pytest.approx(0.00748498, rel=1e-6)
    assert best["run_to_failure_rate"] == pytest.approx(0.00924664, rel=1e-5)
    assert found["shape_90"][0] < 1.72 < found["shape_90"][1]
    assert found["scale_90"][0] < 606 < found["scale_90"][1]
    assert 0 < found["b10"] < found["change_at"] < found["mean"]


def test_without_failures_nothing_is_said_and_why(tmp_path, capsys):
    found = _run(capsys, _file(tmp_path, ["100,running", "50,planned", "20,collateral"]))
    empty = ("mle", "shape", "shape_90", "scale", "mean", "b10", "change_at", "cost_rate")
    assert [found[name] for name in empty] == [None] * len(empty)
    assert found["notes"] == ["no piece failed: there is no estimate"]


def test_almost_no_information_is_declined(tmp_path, capsys):
    rows = [f"{age},failed" for age in (8, 227, 300, 450, 1500, 2, 12, 40, 75, 100)]
    found = _run(capsys, _file(tmp_path, rows + ["10000,running"] * 4072))
    assert found["mle"] is None
    assert found["mean"] is None
    assert "almost no information" in found["notes"][-1]


def test_a_piece_that_was_not_new_enters_late(tmp_path, capsys):
    rows = ["300,failed,250", "420,failed,", "510,failed,0", "600,running,100", "390,failed,"]
    late = _run(capsys, _file(tmp_path, rows, "life,ended,entered_at"))
    new = _run(capsys, _file(tmp_path, [row.rsplit(",", 1)[0] for row in rows]))
    assert late["mle"]["scale"] != new["mle"]["scale"]
    assert "4 failed: what is assumed beforehand says most" in late["notes"]


@pytest.mark.parametrize(
    ("rows", "head", "said"),
    [
        (["100,broken"], "life,ended", ":2: ended is 'broken'"),
        (["100,failed", "x,failed"], "life,ended", ":3: life is 'x'"),
        (["0,failed"], "life,ended", ":2: life is 0"),
        (["9,failed,12"], "life,ended,entered_at", ":2: entered_at is 12"),
        (["9"], "life", ":1: has no column ended"),
    ],
)
def test_bad_rows_are_named_by_file_and_line(tmp_path, capsys, rows, head, said):
    path = _file(tmp_path, rows, head)
    with pytest.raises(SystemExit, match="2"):
        call_command("partlife", path)
    assert f"{path}{said}" in capsys.readouterr().err


def test_one_cost_alone_is_refused(tmp_path, capsys):
    with pytest.raises(SystemExit, match="2"):
        call_command("partlife", _file(tmp_path, ["1,failed"]), "--planned-cost", "3")
    assert "give both" in capsys.readouterr().err


def test_for_people(tmp_path, capsys):
    call_command("partlife", _file(tmp_path, _nist()), "--rated", "500")
    said = capsys.readouterr().out
    assert "20, 10 failed" in said
    assert "1.7208, 606.5276" in said


COSTS = ("--planned-cost", "1", "--failure-cost", "5")


def test_what_a_change_ahead_saves_a_month_is_said(tmp_path, capsys):
    """Forty ends about 1000 apart by little: cost to the end 5 / 1000; no more than 4 of the 5 can
    be saved, and 10,000 starts a month are ten pieces."""
    rows = [f"{900 + 5 * n},failed" for n in range(40)]
    path = _file(tmp_path, rows)
    found = _run(capsys, path, "--rated", "1000", *COSTS, "--per-month", "10000")
    advice = found["advice"]
    assert advice["verdict"] == "pays"
    assert (
        25 < advice["saves_month_90"][0] < advice["saves_month"] < advice["saves_month_90"][1] < 40
    )
    assert advice["saves_month"] == pytest.approx(advice["saves_rate"] * 10_000)
    call_command("partlife", str(path), "--rated", "1000", *COSTS, "--per-month", "10000")
    assert "a month (90 in 100: " in capsys.readouterr().out


def test_that_changing_early_does_not_pay_is_said(tmp_path, capsys):
    """Ends spread as chance alone spreads them, quantiles of shape 0.8, scale 1000."""
    rows = [f"{1000 * (-math.log(1 - (n + 0.5) / 60)) ** 1.25:.3f},failed" for n in range(60)]
    path = _file(tmp_path, rows)
    found = _run(capsys, path, *COSTS, "--rated", "1100")
    assert found["advice"]["verdict"] == "never"
    assert found["advice"]["saves_rate"] is None
    two = _run(capsys, _file(tmp_path, ["500,failed", "520,failed"]), *COSTS, "--rated", "600")
    assert two["advice"]["verdict"] == "thin"
