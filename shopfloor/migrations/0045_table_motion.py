"""A table's limits by axis, its jerk, block rate, lift and settling; without them plans stay."""

from django.db import migrations, models

BLANK = ("accel_x_mm_s2", "accel_y_mm_s2", "speed_x_mm_min", "speed_y_mm_min", "jerk_mm_s3",
         "blocks_per_s")  # fmt: skip


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0044_quote_breaks")]

    operations = [
        *(
            migrations.AddField("table", name, models.FloatField(blank=True, null=True))
            for name in BLANK
        ),
        migrations.AddField("table", "lift_s", models.FloatField(default=0.0)),
        migrations.AddField("table", "settle_s", models.FloatField(default=0.0)),
    ]
