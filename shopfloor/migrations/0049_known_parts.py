"""Parts known by their shape, and the step of the last decimal a program was read with."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("shopfloor", "0048_table_marking"),
    ]

    operations = [
        migrations.AddField(
            model_name="nestrevision",
            name="step_mm",
            field=models.FloatField(default=0.0),
        ),
        migrations.AddField(
            model_name="nestrevision",
            name="known_by",
            field=models.PositiveSmallIntegerField(default=0),
        ),
        migrations.AddField(
            model_name="drawingrevision",
            name="known_by",
            field=models.PositiveSmallIntegerField(default=0),
        ),
        migrations.CreateModel(
            name="KnownPart",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=80)),
                ("named", models.BooleanField(default=False)),
                ("thickness_mm", models.FloatField()),
                ("thickness_text", models.CharField(max_length=40)),
                ("rings", models.JSONField(default=list)),
                ("lines", models.JSONField(default=list)),
                ("marked", models.BooleanField(default=False)),
                ("from_drawing", models.BooleanField(default=False)),
                ("step_mm", models.FloatField(default=0.0)),
                ("holes", models.PositiveIntegerField()),
                ("area_mm2", models.FloatField()),
                ("around_mm", models.FloatField()),
                ("made_at", models.DateTimeField()),
                (
                    "follows",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="later",
                        to="shopfloor.knownpart",
                    ),
                ),
                (
                    "material",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, to="shopfloor.material"
                    ),
                ),
            ],
            options={
                "ordering": ["name", "pk"],
            },
        ),
        migrations.CreateModel(
            name="LikePart",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("changes", models.JSONField(default=list)),
                ("answer", models.CharField(blank=True, max_length=10)),
                ("at", models.DateTimeField(blank=True, null=True)),
                (
                    "by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "older",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="liked_by",
                        to="shopfloor.knownpart",
                    ),
                ),
                (
                    "part",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="likes",
                        to="shopfloor.knownpart",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="PartPlace",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("contour", models.PositiveIntegerField()),
                ("copies", models.PositiveIntegerField(default=1)),
                ("turned_over", models.PositiveIntegerField(default=0)),
                ("share", models.FloatField(default=0.0)),
                ("of_nest", models.FloatField(default=0.0)),
                ("offset_mm", models.FloatField(default=0.0)),
                (
                    "drawing_revision",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="known",
                        to="shopfloor.drawingrevision",
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="known",
                        to="shopfloor.jobline",
                    ),
                ),
                (
                    "part",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="places",
                        to="shopfloor.knownpart",
                    ),
                ),
                (
                    "revision",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="known",
                        to="shopfloor.nestrevision",
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
            },
        ),
        migrations.AddIndex(
            model_name="knownpart",
            index=models.Index(
                fields=["material", "holes", "around_mm"], name="known_part_signature"
            ),
        ),
        migrations.AddIndex(
            model_name="knownpart",
            index=models.Index(fields=["name"], name="known_part_name"),
        ),
        migrations.AddConstraint(
            model_name="likepart",
            constraint=models.UniqueConstraint(fields=("part", "older"), name="like_part_once"),
        ),
        migrations.AddIndex(
            model_name="partplace",
            index=models.Index(fields=["line"], name="part_place_line"),
        ),
    ]
