"""Indexes by which pages find what they show: the nests of a job line by one copy of each part,
and what came out of the torches last."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0031_known_starts")]

    operations: ClassVar = [
        migrations.RemoveIndex("contour", "contour_line_revision"),
        migrations.AddIndex(
            "contour",
            models.Index(fields=["line", "copy", "revision"], name="contour_line_copy"),
        ),
        migrations.AddIndex(
            "fitting", models.Index(fields=["removed_at"], name="fitting_removed")
        ),
    ]
