"""The torch at which a source's arcs counted. Of times that are over the arcs say where they burnt;
still the description in force does."""

from __future__ import annotations

from django.db import migrations, models


def fill(apps, schema_editor):
    arcs = apps.get_model("telemetry", "Arc").objects
    for row in apps.get_model("telemetry", "CountedSpan").objects.select_related("feed"):
        row.torch = row.feed.torch
        if row.until_us is not None:
            own = arcs.filter(feed=row.feed, on_us__lt=row.until_us)
            if row.from_us is not None:
                own = own.filter(on_us__gte=row.from_us)
            burnt = list(own.order_by().values_list("table", "torch").distinct())
            tables, torches = {table for table, _ in burnt}, {torch for _, torch in burnt}
            row.table = tables.pop() if len(tables) == 1 else row.table
            row.torch = torches.pop() if len(torches) == 1 else "" if torches else row.torch
        row.save(update_fields=["table", "torch"])


class Migration(migrations.Migration):
    dependencies = [("telemetry", "0008_counted_span_table")]

    operations = [
        migrations.AddField(
            "CountedSpan",
            "torch",
            models.CharField(
                blank=True, default="", help_text="blank: named line by line", max_length=20
            ),
            preserve_default=False,
        ),
        migrations.RunPython(fill, migrations.RunPython.noop, elidable=True),
    ]
