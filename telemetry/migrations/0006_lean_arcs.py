"""Arcs are written by the hundred thousand, by the one writer of their feed: an index for searches
by the beginning of a key, which nobody does, and a look at the feed's row for every arc cost
PostgreSQL half of that."""

from __future__ import annotations

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("telemetry", "0005_rollup_bucket")]

    operations = [
        migrations.AlterField(
            model_name="arc", name="key", field=models.CharField(max_length=200)
        ),
        migrations.AlterField(
            model_name="arc",
            name="feed",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="arcs",
                to="telemetry.feed",
            ),
        ),
        migrations.AddConstraint(
            model_name="arc",
            constraint=models.UniqueConstraint(fields=["key"], name="arc_once"),
        ),
    ]
