"""What a form can begin with, because the shop leaves no choice or did the same the last time."""

from __future__ import annotations

from typing import Any

from django.db.models import Model, QuerySet
from django.utils.translation import gettext as _

from shopfloor.models import JobLine, JobState, Material, Sheet, Table, Terminal, WearSet


def only_one(rows: QuerySet[Any]) -> Model | None:
    """The row, where there is just one."""
    found = list(rows[:2])
    return found[0] if len(found) == 1 else None


def only_thickness() -> str:
    """The thickness of all lines of open jobs, as typed; "" where they differ."""
    lines = JobLine.objects.filter(job__state=JobState.OPEN).order_by()
    found = list(lines.values_list("thickness_text", flat=True).distinct()[:2])
    return found[0] if len(found) == 1 else ""


def nest_usual() -> dict[str, Any]:
    return {
        "material": only_one(Material.objects.all()),
        "thickness_text": only_thickness(),
        "wear_set": only_one(WearSet.objects.filter(active=True)),
        "table": only_one(Table.objects.filter(active=True)),
    }


def plate_usual() -> dict[str, Any]:
    """Material and thickness where there is one, and the size received last, in mm."""
    last = Sheet.objects.filter(parent=None, owner=None).order_by("-pk").first()
    return {
        "material": only_one(Material.objects.all()),
        "thickness_text": only_thickness(),
        "length_mm": last.length_mm if last else None,
        "width_mm": last.width_mm if last else None,
    }


def screen_usual() -> dict[str, Any]:
    """Of the first table that has no screen."""
    has = Terminal.objects.filter(active=True, table__isnull=False).values("table")
    table = Table.objects.filter(active=True).exclude(pk__in=has).first()
    if table is None:
        return {}
    return {
        "code": f"{table.code}-screen"[:40],
        "name": _("{table} screen").format(table=table.name)[:80],
        "table": table,
    }
