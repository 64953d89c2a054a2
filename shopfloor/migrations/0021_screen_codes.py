"""A short code that registers a screen once."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0020_backups")]

    operations: ClassVar = [
        migrations.AddField(
            "terminal",
            "code_hash",
            models.CharField(max_length=64, blank=True, db_index=True, default=""),
            preserve_default=False,
        ),
        migrations.AddField(
            "terminal", "code_ends_at", models.DateTimeField(null=True, blank=True)
        ),
    ]
