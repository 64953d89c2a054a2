"""The right to work at a screen is called by what the pages call the screen; its codename stays."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import migrations

CODENAME = "work_floor"
BEFORE, AFTER = "works at a floor terminal", "works at a screen beside a table"
PERMISSIONS = [
    ("see_cost", "sees what jobs cost"),
    ("see_wage", "sees wage rates"),
    ("see_margin", "sees quotes and margin"),
    ("make_quotes", "makes and opens quotes"),
    ("see_person_times", "sees times of single persons"),
    (CODENAME, AFTER),
    ("assign_arcs", "says which job arcs belonged to"),
    ("plan_work", "changes jobs, nests, stock and the queue"),
    ("edit_chart", "changes the cut chart and rates"),
    ("manage_feeds", "adds and changes signal sources"),
    ("close_month", "closes a month"),
    ("see_security", "reads the security log"),
]


def _rename(apps: Any, name: str) -> None:
    rights = apps.get_model("auth", "Permission").objects
    rights.filter(content_type__app_label="shopfloor", codename=CODENAME).update(name=name)


def forward(apps: Any, schema_editor: Any) -> None:
    _rename(apps, AFTER)


def back(apps: Any, schema_editor: Any) -> None:
    _rename(apps, BEFORE)


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0032_search_indexes")]

    operations: ClassVar = [
        migrations.AlterModelOptions(
            "user",
            options={
                "permissions": PERMISSIONS,
                "verbose_name": "user",
                "verbose_name_plural": "users",
            },
        ),
        migrations.RunPython(forward, back),
    ]
