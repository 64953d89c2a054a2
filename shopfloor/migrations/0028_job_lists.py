"""Job lists that were brought in, to be undone as one thing, and what their headings mean."""

from __future__ import annotations

from typing import ClassVar

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

_KEY = models.BigAutoField(
    auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
)


def _user() -> models.ForeignKey:
    return models.ForeignKey(
        settings.AUTH_USER_MODEL, blank=True, null=True, related_name="+",
        on_delete=django.db.models.deletion.PROTECT,
    )  # fmt: skip


def _list(related_name: str) -> models.ForeignKey:
    return models.ForeignKey(
        "shopfloor.joblist", blank=True, null=True, related_name=related_name,
        on_delete=django.db.models.deletion.SET_NULL,
    )  # fmt: skip


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0027_run_days_unheard")]

    operations: ClassVar = [
        migrations.CreateModel(
            name="HeadingMap",
            fields=[
                ("id", _KEY.clone()),
                ("name", models.CharField(max_length=60, unique=True)),
                ("meaning", models.JSONField(default=dict)),
                ("at", models.DateTimeField()),
            ],
            options={"ordering": ["name"]},
        ),
        migrations.CreateModel(
            name="JobList",
            fields=[
                ("id", _KEY.clone()),
                ("name", models.CharField(max_length=160)),
                ("at", models.DateTimeField()),
                ("customers", models.JSONField(default=list)),
                ("undone_at", models.DateTimeField(blank=True, null=True)),
                ("by", _user()),
                ("undone_by", _user()),
            ],
            options={
                "ordering": ["-at"],
                "indexes": [models.Index(fields=["-at"], name="job_list_at")],
            },
        ),
        migrations.AddField("job", "job_list", _list("jobs")),
        migrations.AddField("jobline", "job_list", _list("lines")),
    ]
