"""How much of a run's day its source did not tell: entered since, and unknown."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0026_no_arc_feed")]

    operations: ClassVar = [
        migrations.AddField("runday", name, models.FloatField(default=0.0))
        for name in ("entered_s", "entered_arc_s", "unknown_s")
    ]
