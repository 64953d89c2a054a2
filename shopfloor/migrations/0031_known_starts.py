"""How many of a piece's starts in a run were heard or entered, apart from those only planned."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models


def fill(apps, schema_editor):
    uses = apps.get_model("shopfloor", "PieceUse").objects.using(schema_editor.connection.alias)
    uses.filter(evidence="measured").update(known_starts=models.F("starts"))


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0030_page_indexes")]

    operations: ClassVar = [
        migrations.AddField("pieceuse", "known_starts", models.PositiveIntegerField(default=0)),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
