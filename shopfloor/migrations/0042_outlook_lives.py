"""What an outlook rests on in numbers, and the pits of its piece with the age they were read at."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0041_common_parts")]

    operations = [
        migrations.AddField(
            model_name="pieceoutlook",
            name="rests_on",
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AddField(
            model_name="pieceoutlook",
            name="pits",
            field=models.JSONField(blank=True, default=list),
        ),
    ]
