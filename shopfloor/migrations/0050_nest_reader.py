"""Which version of the reader made a nest's contours; 0: one before there were versions."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0049_known_parts")]

    operations = [
        migrations.AddField(
            "nestrevision", "reader", models.PositiveSmallIntegerField(default=0)
        ),
    ]
