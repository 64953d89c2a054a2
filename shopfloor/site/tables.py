"""A table's settings: its motion, its times, and how it reads a program. Every plan on the table
rests on them, so a change is on record with who and why, and the plans are worked out anew."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.motion import FURTHER_LIMITS, TableMotion
from planning.calc.plan import Cutting
from planning.calc.program import Dialect
from planning.calc.said import to_reader, told, with_names
from shopfloor.audit.actor import acting, current_who
from shopfloor.background.plans import request_plan
from shopfloor.background.request import request_work
from shopfloor.models import Nest, Table, Torch
from shopfloor.site.dialect import dialect_of
from shopfloor.site.models import FLOOR_PAGES

MOTION: Final = (
    "accel_mm_s2", "rapid_mm_min", "corner", "corner_tolerance_mm", *FURTHER_LIMITS,
)  # fmt: skip
TIMES: Final = (
    "touch_off_s",
    "lift_s",
    "settle_s",
    "mark_speed_mm_min",
    "load_s",
    "unload_s",
    "change_s",
)
READING: Final = ("torch_on", "torch_off", "dialect")
FIGURES: Final = (*MOTION, *TIMES, *READING)
_WORDS: Final = {
    "accel_mm_s2": N_("the acceleration in mm/s²"),
    "rapid_mm_min": N_("the rapid in mm/min"),
    "tolerance_mm": N_("the corner tolerance in mm"),
    "accel_x_mm_s2": N_("the acceleration of X in mm/s²"),
    "accel_y_mm_s2": N_("the acceleration of Y in mm/s²"),
    "speed_x_mm_min": N_("the top speed of X in mm/min"),
    "speed_y_mm_min": N_("the top speed of Y in mm/min"),
    "jerk_mm_s3": N_("the jerk in mm/s³"),
    "blocks_per_s": N_("the blocks a second"),
    "mark_speed_mm_min": N_("the speed of marking in mm/min"),
}
_PLAIN: Final = Dialect()


def dialect_kept(values: Mapping[str, Any]) -> dict[str, Any]:
    """Only what differs from a reading without settings, so that a later default holds."""
    names = {entry.name for entry in dataclasses.fields(Dialect)} - {"torch_on", "torch_off"}
    return {
        name: list(value) if isinstance(value, tuple) else value
        for name, value in values.items()
        if name in names and value != getattr(_PLAIN, name)
    }


@transaction.atomic
def table_add(*, name: str, code: str = "") -> Table:
    """A table nothing listens to yet. A source that names its `code` joins it later."""
    code = code or slugify(name)[:40]
    if code in FLOOR_PAGES:
        code = f"{code}-table"
    table = Table(code=code, name=name.strip())
    if not table.code:
        raise ValidationError({"name": _("A table needs a name of letters or figures.")})
    table.full_clean(exclude=["dialect"])
    table.save()
    Torch.objects.create(table=table, code="1")
    return table


@transaction.atomic
def table_rename(*, table: Table, name: str) -> None:
    """Another name to read. Its code, which sources and addresses use, stays."""
    table.name = name.strip()
    table.full_clean(exclude=["dialect"])
    table.save(update_fields=["name"])


@transaction.atomic
def table_set(
    *, table: Table, why: str, at: datetime | None = None, **values: Any
) -> tuple[str, ...]:
    """Changes a table's figures and returns which. Nests are planned anew; where the reading of
    programs changed, those of this table's nests are also read again. Raises ValidationError."""
    unknown = set(values) - set(FIGURES)
    if unknown:
        raise ValueError(
            _("no figures of a table: {unknown}").format(unknown=", ".join(sorted(unknown)))
        )
    changed = tuple(name for name in values if getattr(table, name) != values[name])
    if not changed:
        return ()
    if not why.strip():
        raise ValidationError({"why": _("Say why: whoever looks later will ask.")})
    for name in changed:
        setattr(table, name, values[name])
    _check(table)
    table.figures_at = at or timezone.now()
    table.full_clean(exclude=["dialect"])  # checked above; empty is ISO 6983
    with acting(current_who(), why=why.strip()):
        table.save(update_fields=[*changed, "figures_at"])
    for nest in Nest.objects.filter(withdrawn_at=None):
        request_plan(nest=nest)
    if set(changed) & set(READING):
        request_work(kind="reread", key=str(table.pk))
    return changed


def motion_of(table: Table) -> TableMotion:
    """How a table moves. Raises ``ValueError`` for figures no table has."""
    corner: Any = table.corner or None
    return TableMotion(
        accel_mm_s2=table.accel_mm_s2,
        rapid_mm_min=table.rapid_mm_min,
        corner=corner,
        tolerance_mm=table.corner_tolerance_mm,
        **{name: getattr(table, name) for name in FURTHER_LIMITS},
    )


def _check(table: Table) -> None:
    try:
        motion_of(table)
        Cutting(
            None,
            lift_s=table.lift_s,
            settle_s=table.settle_s,
            mark_speed_mm_min=table.mark_speed_mm_min,
        )
        dialect = dialect_of(table)
        if not dialect.on_codes or not dialect.off_codes:
            raise ValueError(_("at least one code lights the torch and one puts it out"))
    except ValueError as problem:
        names = {name: _(words) for name, words in _WORDS.items()}
        said = to_reader(with_names(told(problem), names), inch=False)
        raise ValidationError(f"{said[:1].upper()}{said[1:]}.") from problem
