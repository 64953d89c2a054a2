"""A factor opened: the runs behind it. A key is "SET:MATERIAL:MM", ids and millimetres."""

from __future__ import annotations

import math

from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.said import around, said
from planning.inputs.taken import TrainingRun, cell_of, taken_runs
from planning.reports.figure import MOST, Figure, Part, Ref
from planning.reports.run_names import run_names
from shopfloor.models import Material, WearSet
from shopfloor.wording.quantity import Quantity, Remark, Unit, seconds, text

RULE = said(
    "run time without stoppages, divided by the plan before any factor; mean of the logarithms of "
    "the measured runs of the last year; with few runs it is then pulled towards the shop's mean"
)


def opened(key: str) -> Figure:
    wear_set, material, mm = key.split(":")
    cell = cell_of(int(wear_set), int(material), float(mm))
    taken = [run for run in taken_runs(now=timezone.now()).runs if run.cell == cell]
    of = WearSet.objects.filter(pk=cell[0]).first(), Material.objects.filter(pk=cell[1]).first()
    if not taken or of[0] is None or of[1] is None:
        raise LookupError(_("no run is used for {key!r}").format(key=key))
    names = run_names(run.run_id for run in taken[-MOST:])
    parts = [_part(run, names[run.run_id][1]) for run in reversed(taken[-MOST:])]
    if len(taken) > MOST:
        parts.append(Part(_("{count} older ones").format(count=len(taken) - MOST), text("")))
    mean = Quantity(math.exp(sum(run.log_moving for run in taken) / len(taken)), Unit.RATIO)
    parts.append(Part(_("Own mean of {count}").format(count=len(taken)), mean, total=True))
    label = around(f"{of[1].code} ", said("{0}", cell[2]), f", {of[0]}")
    value = Quantity(mean.value, Unit.RATIO, "measured")
    page = Ref("factors", "")
    return Figure(Ref("factor", key), label, value, RULE, tuple(parts), page=page)


def _part(run: TrainingRun, name: str) -> Part:
    ratio = Quantity(run.moving_s / run.planned_s, Unit.RATIO, "measured")
    times = seconds(run.moving_s), seconds(run.planned_s)
    return Part(name, ratio, Ref("run", str(run.run_id)), (Remark("{} for a plan of {}", times),))
