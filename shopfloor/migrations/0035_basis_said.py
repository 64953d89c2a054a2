"""What an outlook rests on, with its lengths as numbers."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0034_family_cautions")]

    operations = [
        migrations.AddField(
            model_name="pieceoutlook",
            name="basis_said",
            field=models.JSONField(blank=True, default=dict),
        ),
    ]
