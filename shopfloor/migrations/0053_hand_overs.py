"""What a shift leaves to the next at each table."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0052_shop_notes")]

    operations = [
        migrations.CreateModel(
            name="HandOver",
            fields=[
                ("id", models.BigAutoField(
                    auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("shift_date", models.DateField()),
                ("shift", models.CharField(max_length=40)),
                ("text", models.TextField(max_length=2000)),
                ("drafted", models.TextField(blank=True)),
                ("at", models.DateTimeField(db_index=True)),
                ("by", models.ForeignKey(
                    on_delete=django.db.models.deletion.PROTECT, related_name="+",
                    to=settings.AUTH_USER_MODEL)),
                ("table", models.ForeignKey(
                    on_delete=django.db.models.deletion.PROTECT, related_name="hand_overs",
                    to="shopfloor.table")),
            ],
            options={
                "ordering": ["at"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("table", "shift_date", "shift"), name="hand_over_once_a_shift")
                ],
            },
        ),
    ]
