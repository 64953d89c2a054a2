"""The tables a shift is scheduled for."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0021_screen_codes")]
    operations = [
        migrations.AddField("shift", "tables", models.JSONField(blank=True, default=list)),
    ]
