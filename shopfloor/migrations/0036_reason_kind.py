"""What a reason for a stop counts as stands beside its words, which a shop chooses."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import migrations, models

KINDS = [
    ("stoppage", "a stoppage"),
    ("planned", "planned: a break, a handover"),
    ("change", "planned: a set change"),
    ("crash", "a torch crash"),
]


def fill(apps: Any, schema_editor: Any) -> None:
    """As the words were read until now, but that a crash is one wherever it stands in them, and a
    change of shift is none of sets."""
    for reason in apps.get_model("shopfloor", "Reason").objects.all():
        if "crash" in reason.code:
            reason.kind = "crash"
        elif "change" in reason.code and "shift" not in reason.code:
            reason.kind = "change"
        elif reason.planned:
            reason.kind = "planned"
        reason.save(update_fields=["kind"])


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0035_basis_said")]

    operations: ClassVar = [
        migrations.AddField(
            "reason", "kind", models.CharField(choices=KINDS, default="stoppage", max_length=10)
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
