"""Lines people left are found by their own time, not among all actions there ever were."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0024_quote_right")]

    operations: ClassVar = [
        migrations.AddIndex(
            "action", models.Index(fields=["kind", "at"], name="action_kind_at")
        ),
    ]
