"""Indexes by which pages find what they show: entries that came late or were decided on, the last
sheet of a material, the nests a job's lines are on."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0029_action_decided")]

    operations: ClassVar = [
        migrations.RemoveIndex("action", "action_flagged"),
        migrations.AddIndex(
            "action", models.Index(fields=["flag", "received_at"], name="action_flag_at")
        ),
        migrations.AddIndex(
            "action",
            models.Index(
                fields=["-received_at"],
                condition=models.Q(decided_at__isnull=False),
                name="action_decided",
            ),
        ),
        migrations.AddIndex(
            "contour",
            models.Index(fields=["line", "revision"], name="contour_line_revision"),
        ),
        migrations.AddIndex(
            "sheet", models.Index(fields=["material", "received_at"], name="sheet_material_at")
        ),
    ]
