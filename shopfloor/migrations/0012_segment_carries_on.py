"""Whether a stretch goes on after the last contour of the one before, said by the stretch itself:
so the one before keeps the reason it ended for."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0011_air_readings")]

    operations: ClassVar = [
        migrations.AddField("segment", "carries_on", models.BooleanField(default=False)),
    ]
