"""The units a shop's people start with."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0022_shift_tables")]

    operations: ClassVar = [
        migrations.AddField("shop", "units", models.CharField(max_length=8, default="metric")),
    ]
