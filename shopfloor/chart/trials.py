"""Cuts tried on scrap before a chart row is made of them."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.numbers import filled
from planning.calc.quality import u_from_angle_mm
from planning.calc.said import to_reader, told
from shopfloor.chart.cut_settings import ROW_NAMES, TRIAL_NAMES
from shopfloor.chart.rows import save_row
from shopfloor.chart.thickness import thickness_of
from shopfloor.models import ChartRow, ChartTrial, Dross, Material, Table, User, WearSet

CAME_OUT = ("angle_deg", "severed", "dross", "note")  # beside what was measured of the settings
SAME_SHARE = 1e-3  # how far the amps tried may lie off the set's


@transaction.atomic
def trial_add(
    *,
    wear_set: WearSet,
    material: Material,
    thickness_text: str,
    by: User,
    table: Table | None = None,
    at: datetime | None = None,
    **values: Any,
) -> ChartTrial:
    """Keeps what was tried and what came out. An angle gives u where u was not measured itself.
    Raises ValidationError for figures that cannot be and a moment that has not come yet."""
    size = thickness_of(thickness_text, material)
    now = timezone.now()
    trial = ChartTrial(
        wear_set=wear_set, material=material, thickness_mm=size.nominal_mm,
        thickness_text=size.text.strip()[:40], table=table, by=by, at=at or now,
        **{name: values[name] for name in (*TRIAL_NAMES, *CAME_OUT) if name in values},
    )  # fmt: skip
    if trial.at > now:
        raise ValidationError({"at": _("That has not happened yet.")})
    if trial.dross and trial.dross not in Dross.values:
        raise ValidationError({"dross": _("Unknown: {dross}.").format(dross=trial.dross)})
    if trial.u_mm is None and trial.angle_deg is not None:
        trial.u_mm = _u_mm(trial)
    trial.full_clean()
    trial.save()
    return trial


def _u_mm(trial: ChartTrial) -> float:
    try:
        return round(u_from_angle_mm(trial.angle_deg or 0.0, trial.thickness_mm), 4)
    except ValueError as problem:
        raise ValidationError({"angle_deg": to_reader(told(problem), inch=False)}) from problem


@transaction.atomic
def trial_strike(*, trial: ChartTrial, why: str, at: datetime | None = None) -> None:
    """Takes a trial out of account, with a reason; it stays on the page, struck."""
    if trial.row_id is not None:
        raise ValidationError(_("It became a chart row: end the row instead."))
    if not why.strip():
        raise ValidationError({"why": _("Say why.")})
    trial.struck_at, trial.struck_why = at or timezone.now(), why.strip()
    trial.save(update_fields=["struck_at", "struck_why"])


@transaction.atomic
def trial_promote(
    *, trial: ChartTrial, by: User, valid_from: datetime | None = None,
    max_pierce_mm: float | None = None, bench_min_per_m: float | None = None, note: str = "",
    now: datetime | None = None,
) -> ChartRow:  # fmt: skip
    """Makes a chart row of a trial, by a person's decision. Refused for a trial that was struck,
    did not sever, was promoted before, or was run at amps that are not the set's."""
    trial = ChartTrial.objects.select_for_update().get(pk=trial.pk)
    now = now or timezone.now()
    if trial.row_id is not None:
        raise ValidationError(_("It is a chart row already."))
    if trial.struck_at is not None:
        raise ValidationError(_("It was struck."))
    if not trial.severed:
        raise ValidationError(_("It did not cut through."))
    amps = trial.wear_set.current_a
    if abs(trial.current_a - amps) > SAME_SHARE * amps:
        raise ValidationError(
            filled(
                _(
                    "It was run at {current_a:g} A and the set is for {amps:g} A: a row says "
                    "amps by its set."
                ),
                current_a=trial.current_a,
                amps=amps,
            )
        )
    figures = {name: getattr(trial, name) for name in TRIAL_NAMES if name in ROW_NAMES}
    figures["max_pierce_mm"] = max_pierce_mm
    if bench_min_per_m is not None:
        figures["bench_min_per_m"] = bench_min_per_m
    row = save_row(
        wear_set=trial.wear_set,
        material=trial.material,
        thickness_text=trial.thickness_text,
        figures=figures,
        valid_from=valid_from,
        note=note or _("from trial {trial}").format(trial=trial.pk),
        now=now,
    )
    trial.row, trial.promoted_at, trial.promoted_by = row, now, by
    trial.save(update_fields=["row", "promoted_at", "promoted_by"])
    return row
