"""What a wear part's failure costs, as somebody says before there are records; blank: unknown."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0050_nest_reader")]

    operations = [
        migrations.AddField(
            "shop", "failure_cut_minor", models.BigIntegerField(blank=True, null=True)
        ),
        migrations.AddField("shop", "failure_lost_min", models.FloatField(blank=True, null=True)),
    ]
