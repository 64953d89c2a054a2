from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("telemetry", "0004_clock_by_arrival")]

    operations = [
        migrations.AddIndex(
            model_name="rollup",
            index=models.Index(fields=["bucket_us"], name="rollup_bucket"),
        ),
    ]
