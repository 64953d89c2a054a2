"""A contour may make several parts, of rings that are not its own path and of shared edges."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0040_quote_forecast")]

    operations = [
        migrations.AddField("contour", "edges", models.JSONField(default=list)),
        migrations.AddField("contour", "faces", models.JSONField(default=list)),
        migrations.AddField("contour", "parts", models.PositiveSmallIntegerField(default=1)),
    ]
