"""Closed days, time a table is down, added shifts, and whose public holidays are offered."""

from __future__ import annotations

from typing import ClassVar

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0038_failure_causes")]

    operations: ClassVar = [
        migrations.CreateModel(
            name="ClosedDay",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("day", models.DateField(unique=True)),
                ("why", models.CharField(max_length=80)),
            ],
            options={
                "ordering": ["day"],
            },
        ),
        migrations.AddField(
            model_name="shift",
            name="added",
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name="shop",
            name="country",
            field=models.CharField(blank=True, max_length=2),
        ),
        migrations.AddField(
            model_name="shop",
            name="region",
            field=models.CharField(blank=True, max_length=8),
        ),
        migrations.CreateModel(
            name="TableDown",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("started_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(db_index=True)),
                ("planned", models.BooleanField(default=False)),
                ("why", models.CharField(blank=True, max_length=80)),
                (
                    "table",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="downs",
                        to="shopfloor.table",
                    ),
                ),
            ],
            options={
                "ordering": ["started_at"],
            },
        ),
    ]
