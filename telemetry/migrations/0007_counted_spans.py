"""From when until when a source's arcs count."""

from __future__ import annotations

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("telemetry", "0006_lean_arcs")]

    operations = [
        migrations.CreateModel(
            name="CountedSpan",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "from_us",
                    models.BigIntegerField(
                        help_text="microseconds UTC; null: always before", null=True
                    ),
                ),
                (
                    "until_us",
                    models.BigIntegerField(help_text="not itself; null: still", null=True),
                ),
                (
                    "feed",
                    models.ForeignKey(
                        "telemetry.feed",
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="counted_spans",
                    ),
                ),
            ],
            options={
                "ordering": ["feed", "pk"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=["feed", "from_us"], name="counted_span_once"
                    )
                ],
            },
        ),
    ]
