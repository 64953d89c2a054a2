"""A factor opened: the runs behind it. A key is "SET:MATERIAL:MM", ids and millimetres."""

from __future__ import annotations

import math

from django.utils import timezone

from planning.calc.said import around, said
from planning.inputs.taken import TrainingRun, cell_of, taken_runs
from planning.reports.shapes import Figure, OpenedRow
from planning.reports.trace_month import run_names
from planning.reports.trace_rows import MOST, minutes
from shopfloor.models import Material, WearSet

HOW = (
    "run time without stoppages, divided by the plan before any factor; mean of the logarithms of "
    "the measured runs of the last year; with few runs it is then pulled towards the shop's mean"
)


def factor(id: str) -> Figure:
    wear_set, material, mm = id.split(":")
    cell = cell_of(int(wear_set), int(material), float(mm))
    taken = [run for run in taken_runs(now=timezone.now()).runs if run.cell == cell]
    of = WearSet.objects.filter(pk=cell[0]).first(), Material.objects.filter(pk=cell[1]).first()
    if not taken or of[0] is None or of[1] is None:
        raise LookupError(f"no run is used for {id!r}")
    names = run_names(run.run_id for run in taken[-MOST:])
    rows = [_row(run, names[run.run_id][1]) for run in reversed(taken[-MOST:])]
    if len(taken) > MOST:
        rows.append(OpenedRow(f"{len(taken) - MOST} older ones", ""))
    mean = math.exp(sum(run.log_moving for run in taken) / len(taken))
    rows.append(OpenedRow(f"Own mean of {len(taken)}", f"{mean:.3f}", total=True))
    title = around(f"{of[1].code} ", said("{0}", cell[2]), f", {of[0]}")
    return Figure(title, f"{mean:.3f}", "measured", HOW, tuple(rows), None)


def _row(run: TrainingRun, name: str) -> OpenedRow:
    ratio = f"{run.moving_s / run.planned_s:.3f}"
    note = f"{minutes(run.moving_s)} for a plan of {minutes(run.planned_s)}"
    return OpenedRow(name, ratio, "measured", note, "run", str(run.run_id))
