"""The table at which a source's arcs counted, which is not always the one it watches now."""

from __future__ import annotations

from django.db import migrations, models


def fill(apps, schema_editor):
    span = apps.get_model("telemetry", "CountedSpan")
    for row in span.objects.select_related("feed"):
        row.table = row.feed.table
        row.save(update_fields=["table"])


class Migration(migrations.Migration):
    dependencies = [("telemetry", "0007_counted_spans")]

    operations = [
        migrations.AddField(
            "CountedSpan",
            "table",
            models.CharField(max_length=60, default=""),
            preserve_default=False,
        ),
        migrations.RunPython(fill, migrations.RunPython.noop, elidable=True),
    ]
