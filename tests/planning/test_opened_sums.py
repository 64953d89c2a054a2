"""Every opened figure's rows add up to its total, all the way down from a month and a job."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from planning.reports import cost_month
from planning.services.run_figures import run_figures
from shopfloor.models import ArcAssignment
from shopfloor.wording.quantity import remark_said
from tests.planning import cast
from tests.planning.said import ALL, INCH, open_figure
from tests.planning.test_reports import OCTOBER, shop_month

__all__ = ["shop_month"]
pytestmark = pytest.mark.django_db
NUMBER = re.compile(r"^([+−]?)([\d,]+(?:\.\d+)?) (USD|min|s|h|starts?)")
SECONDS = {"min": 60, "s": 1, "h": 3600}


def _figure(text):
    """(amount, unit, half of its last digit) of a value, times in seconds; None where it is no
    number."""
    found = NUMBER.match(text)
    if found is None:
        return None
    sign, digits, unit = found.groups()
    amount = float(digits.replace(",", "")) * (-1 if sign == "−" else 1)
    step = 10.0 ** -len(digits.partition(".")[2])
    times = SECONDS.get(unit, 1)
    return amount * times, "time" if unit in SECONDS else unit.rstrip("s"), step / 2 * times


def _adds_up(figure):
    """Rows before each total sum to it, within the rounding of what is shown."""
    rows, totals = [], 0
    for row in figure.rows:
        found = _figure(row.value)
        if row.total and found is not None:
            own = [one for one in rows if one[1] == found[1]]
            if own:
                slack = sum(one[2] for one in own) + found[2] + 1e-6
                assert sum(one[0] for one in own) == pytest.approx(found[0], abs=slack), figure
                totals += 1
            rows = []
        elif found is not None and not row.total:
            rows.append(found)
    return totals


def _all_beneath(kind, key, seen):
    """Every figure that can be reached from one."""
    if (kind, key) in seen or kind == "feed":
        return
    seen[kind, key] = figure = open_figure(kind=kind, id=key)
    for row in figure.rows:
        if row.kind and row.id:
            _all_beneath(row.kind, row.id, seen)


def test_from_the_month_down_to_the_arcs_everything_adds_up(shop_month):
    job, first, *_ = shop_month
    [hours] = cost_month(first_day=OCTOBER).hours.to_dict("records")
    cell = f"{OCTOBER}:{hours['material']}:{hours['thickness_mm']:g}:{hours['duty']}"
    seen = {}
    for kind, key in (
        ("month", f"{OCTOBER}"),
        ("month_job", f"{OCTOBER}:{job.pk}"),
        ("month_term", f"{OCTOBER}:stoppages"),
        ("month_term", f"{OCTOBER}:stoppages:{job.pk}"),
        ("month_plate", cell),
        ("job", f"{job.pk}"),
        ("job_line", f"{job.pk}:{first.number}"),
        ("job_plan", f"{job.pk}"),
        ("job_term", f"{job.pk}:stoppages"),
    ):
        _all_beneath(kind, key, seen)
    kinds = {kind for kind, _ in seen}
    assert kinds >= {"month_kind", "month_job_kind", "job_line_kind", "posting", "run", "arc"}
    assert sum(_adds_up(figure) for figure in seen.values()) > 20
    assert seen["month", f"{OCTOBER}"].amount == 12_800 + 4_000 + 960 + 20
    # J-1's: two thirds of 300 s, at 96 + 30 an hour
    term = seen["month_term", f"{OCTOBER}:stoppages:{job.pk}"]
    assert (term.amount, term.rows[-1].note) == (pytest.approx(200), "+7.00 USD")
    plate = seen["month_plate", cell]
    assert plate.rows[-1].note.startswith("175.0 m cut, 168.20 USD without material")
    # 168.20 / 175 m = 0.961 a metre; a foot is 0.3048 m: 0.961 x 0.3048 = 0.293
    [note] = plate.figure.parts[-1].notes
    assert remark_said(note, ALL).endswith(": 0.96 USD a metre")
    assert remark_said(note, INCH).endswith(": 0.29 USD a foot")
    assert any(kind == "run_term" for kind, _ in seen)


def test_a_piece_counts_the_starts_that_no_run_has(shop_month):
    """Two starts in the run; three more arcs that nobody has tied to one."""
    run, piece = shop_month[3], shop_month[4]
    loose = cast.arcs(run, [(5000 + n, 5001 + n, None) for n in range(0, 9, 3)])
    ArcAssignment.objects.filter(arc_key__in=[arc.key for arc in loose]).delete()
    from planning.services.piece_figures import pieces_write

    pieces_write({piece.pk}, now=cast.NOON + timedelta(days=1))
    figure = open_figure(kind="piece", id=str(piece.pk))
    assert figure.value == "5 starts"
    said = {row.label: row.value for row in figure.rows}
    assert said["Burnt in no run"] == "3 starts"
    assert said["Starts in all"] == "5"


def test_a_run_that_goes_on_opens_to_what_it_has_burnt_so_far(shop_month, operator):
    north = shop_month[3].table
    revision = cast.nest(operator, [], name="N-open")
    run = cast.run(revision, north, seconds=None, state="open", start=cast.at(cast.NOON, 9000))
    cast.arcs(run, [(10, 40, None)], start=cast.at(cast.NOON, 9000))
    run_figures(key=str(run.pk), payload={})
    assert open_figure(kind="run", id=str(run.pk)).rows[-1].label == "So far"
