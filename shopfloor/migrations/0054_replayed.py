"""Statements made later from what was on record at their moment."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0053_hand_overs")]

    operations = [
        migrations.AddField(
            model_name="statement",
            name="replayed",
            field=models.BooleanField(default=False),
        ),
    ]
