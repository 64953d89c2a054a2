"""Sign-ins at the screens as rows, so that they can end, and the mark of an entry that came in
after."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models
from django.db.models import deletion


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0013_throttle")]

    operations: ClassVar = [
        migrations.CreateModel(
            "ScreenSignIn",
            [
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("began_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(null=True, blank=True)),
                ("ended_by", models.CharField(max_length=10, blank=True)),
                (
                    "person",
                    models.ForeignKey(
                        "shopfloor.User", deletion.CASCADE, related_name="screen_sign_ins"
                    ),
                ),
                (
                    "terminal",
                    models.ForeignKey(
                        "shopfloor.Terminal", deletion.CASCADE, related_name="sign_ins"
                    ),
                ),
                (
                    "table",
                    models.ForeignKey("shopfloor.Table", deletion.CASCADE, related_name="+"),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        fields=["terminal", "table", "ended_at"],
                        name="shopfloor_s_termina_24ec6c_idx",
                    )
                ]
            },
        ),
        migrations.AddField(
            "action",
            "flag",
            models.CharField(max_length=10, blank=True, default=""),
            preserve_default=False,
        ),
        migrations.AddIndex(
            "action",
            models.Index(
                fields=["-received_at"], condition=~models.Q(flag=""), name="action_flagged"
            ),
        ),
    ]
