"""The last good backup, the last try, and whether one is overdue."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Min

from shopfloor.backup.rotation import next_at
from shopfloor.models import BackupPlan, BackupRun
from shopfloor.site.queries import shop_zone

OVERDUE = timedelta(days=2)


def backup_plan() -> BackupPlan:
    """The one row; an unsaved one where nothing was set."""
    return BackupPlan.objects.order_by("pk").first() or BackupPlan()


def last_good() -> BackupRun | None:
    return BackupRun.objects.filter(state="done").order_by("-ended_at").first()


def backup_age_s(now: datetime) -> int | None:
    """Seconds since the last good backup ended, None where there never was one."""
    good = last_good()
    return None if good is None else max(0, int((now - good.ended_at).total_seconds()))


@dataclass(frozen=True, slots=True)
class BackupState:
    """What a page says of backups. `failed` is the last try where that failed; `overdue` says that
    no good one is younger than two days, in a shop that is older than that itself."""

    good: BackupRun | None
    failed: BackupRun | None
    next_at: datetime | None
    overdue: bool


def backup_state(now: datetime) -> BackupState:
    plan, good = backup_plan(), last_good()
    last = BackupRun.objects.order_by("-ended_at", "-pk").first()
    return BackupState(
        good=good,
        failed=last if last is not None and last.state == "failed" else None,
        next_at=next_at(now, plan.at, ZoneInfo(shop_zone())) if plan.active else None,
        overdue=is_overdue(good, now),
    )


def is_overdue(good: BackupRun | None, now: datetime) -> bool:
    if good is not None:
        return now - good.ended_at > OVERDUE
    began = MigrationRecorder(connection).migration_qs.aggregate(at=Min("applied"))["at"]
    return began is not None and now - began > OVERDUE
