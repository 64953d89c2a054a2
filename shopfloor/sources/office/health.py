"""`/healthz`: for whatever watches the machine. Counts and ages only, nothing of the shop."""

from __future__ import annotations

from django.db import DatabaseError
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache

from shopfloor.background.queries import backlog
from shopfloor.backup.queries import backup_age_s
from shopfloor.sources.queries import intake_age_s
from shopfloor.verify.queries import verification_health
from telemetry.alarms import standing_alarms


@never_cache
def healthz(request: HttpRequest) -> JsonResponse:
    """`status` is "ok" while pages can be served. `intake_age_s` is seconds since the intake
    last wrote that it lives, `backup_age_s` since the last good backup, null where there never was
    one; the watcher judges what is too old. `alarms` are the codes of what intake wants looked at,
    each once ("disk nearly full"), and `intake` is "alarm" while there are any. `verified` is "ok",
    "faults" or "never": what the last verification of the records found."""
    try:
        waiting, failed = backlog()
        age_s, saved_s = intake_age_s(), backup_age_s(timezone.now())
        alarms = sorted({alarm.code for alarm in standing_alarms()})
        verified, verified_age_s = verification_health(timezone.now())
    except DatabaseError:
        return JsonResponse({"status": "failed", "database": "failed"}, status=503)
    return JsonResponse(
        {
            "status": "ok",
            "database": "ok",
            "intake": "alarm" if alarms else "ok",
            "intake_age_s": age_s,
            "alarms": alarms,
            "backup_age_s": saved_s,
            "work_waiting": waiting,
            "work_failed": failed,
            "verified": verified,
            "verified_age_s": verified_age_s,
        }
    )
