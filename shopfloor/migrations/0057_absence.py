"""People who are missing for days."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0056_table_drift")]

    operations = [
        migrations.CreateModel(
            name="Absence",
            fields=[
                ("id", models.BigAutoField(
                    auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("first", models.DateField()),
                ("last", models.DateField(db_index=True)),
                ("reason", models.CharField(
                    max_length=12,
                    choices=[
                        ("sick", "ill"), ("holiday", "on holiday"), ("course", "on a course"),
                        ("elsewhere", "needed elsewhere"), ("other", "another reason"),
                    ],
                )),
                ("tables", models.JSONField(default=list)),
                ("shift", models.CharField(blank=True, max_length=40)),
                ("person", models.ForeignKey(
                    on_delete=django.db.models.deletion.PROTECT, related_name="absences",
                    to=settings.AUTH_USER_MODEL)),
                ("stand_in", models.ForeignKey(
                    blank=True, null=True, on_delete=django.db.models.deletion.PROTECT,
                    related_name="+", to=settings.AUTH_USER_MODEL)),
            ],
            options={"ordering": ["first", "pk"]},
        ),
    ]
