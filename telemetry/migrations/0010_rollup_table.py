"""A source that moved within a quarter hour has sums at both tables. Going back needs one of the
two rows gone; `rebuild` makes them anew."""

from __future__ import annotations

from django.db import migrations, models
from django.db.models import Exists, OuterRef


def drop_second_tables(apps, schema_editor):
    rows = apps.get_model("telemetry", "Rollup").objects
    other = rows.filter(
        feed=OuterRef("feed"), torch=OuterRef("torch"), bucket_us=OuterRef("bucket_us"),
        pk__lt=OuterRef("pk"),
    )  # fmt: skip
    rows.filter(Exists(other)).delete()


class Migration(migrations.Migration):
    dependencies = [("telemetry", "0009_counted_span_torch")]

    operations = [
        migrations.RemoveConstraint("Rollup", "rollup_once"),
        migrations.RunPython(migrations.RunPython.noop, drop_second_tables, elidable=True),
        migrations.AddConstraint(
            "Rollup",
            models.UniqueConstraint(
                fields=["feed", "torch", "bucket_us", "table"], name="rollup_once"
            ),
        ),
    ]
