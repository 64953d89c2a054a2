"""When a late entry was decided on, so that those are found without reading all there ever were."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import migrations, models
from django.utils.dateparse import parse_datetime


def from_results(apps: Any, schema_editor: Any) -> None:
    action = apps.get_model("shopfloor", "Action")
    decided = action.objects.filter(kind__in=("finish", "start"), result__has_key="resolved")
    for row in decided.only("result", "received_at").iterator():
        at = parse_datetime(str(row.result["resolved"].get("at") or ""))
        action.objects.filter(pk=row.pk).update(decided_at=at or row.received_at)


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0028_job_lists")]

    operations: ClassVar = [
        migrations.AddField(
            "action", "decided_at", models.DateTimeField(blank=True, null=True)
        ),
        migrations.RunPython(from_results, migrations.RunPython.noop),
    ]
