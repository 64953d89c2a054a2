"""How fast a table marks; blank: as the program says."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0047_inspection_photos")]

    operations = [
        migrations.AddField(
            "table", "mark_speed_mm_min", models.FloatField(blank=True, null=True)
        ),
    ]
