"""How long the shop keeps the journal of what its tables sent."""

from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0016_security_log")]

    operations: ClassVar = [
        migrations.AddField(
            model_name="shop",
            name="journal_days",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
    ]
