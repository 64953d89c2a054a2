"""Notes of Today as rows, and when they were last looked for."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0051_shop_failure")]

    operations = [
        migrations.CreateModel(
            name="NoteSweep",
            fields=[
                ("id", models.BigAutoField(
                    auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("looked_at", models.DateTimeField()),
                ("change", models.BigIntegerField(default=0)),
            ],
        ),
        migrations.CreateModel(
            name="ShopNote",
            fields=[
                ("id", models.BigAutoField(
                    auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=30)),
                ("subject", models.CharField(max_length=220)),
                ("values", models.JSONField(default=dict)),
                ("began_at", models.DateTimeField(db_index=True)),
                ("found_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(blank=True, db_index=True, null=True)),
                ("seen", models.JSONField(default=list)),
                ("table", models.ForeignKey(
                    blank=True, null=True, on_delete=django.db.models.deletion.CASCADE,
                    related_name="+", to="shopfloor.table")),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("ended_at", None)), fields=("code", "subject"),
                        name="note_open_once")
                ],
            },
        ),
    ]
