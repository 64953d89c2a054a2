"""What a table has done otherwise of late, beside its fit."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0055_quotes_by_index")]

    operations = [
        migrations.AddField(
            model_name="tabletime",
            name="drift",
            field=models.JSONField(default=list),
        ),
    ]
