"""The right to make quotes, given to the two roles that have it from now on."""

from __future__ import annotations

from typing import Any, ClassVar

from django.apps import apps as live_apps
from django.contrib.auth.management import create_permissions
from django.db import migrations

PERMISSIONS = [
    ("see_cost", "sees what jobs cost"),
    ("see_wage", "sees wage rates"),
    ("see_margin", "sees quotes and margin"),
    ("make_quotes", "makes and opens quotes"),
    ("see_person_times", "sees times of single persons"),
    ("work_floor", "works at a floor terminal"),
    ("assign_arcs", "says which job arcs belonged to"),
    ("plan_work", "changes jobs, nests, stock and the queue"),
    ("edit_chart", "changes the cut chart and rates"),
    ("manage_feeds", "adds and changes signal sources"),
    ("close_month", "closes a month"),
    ("see_security", "reads the security log"),
]


def _right_and_groups(apps: Any) -> tuple[Any, Any]:
    right = apps.get_model("auth", "Permission").objects.filter(
        content_type__app_label="shopfloor", codename="make_quotes"
    )
    groups = apps.get_model("auth", "Group").objects
    return right, groups.filter(name__in=("owner", "planner"))


def give(apps: Any, schema_editor: Any) -> None:
    create_permissions(live_apps.get_app_config("shopfloor"), verbosity=0, apps=apps)
    right, groups = _right_and_groups(apps)
    for group in groups:
        group.permissions.add(*right)


def take(apps: Any, schema_editor: Any) -> None:
    right, groups = _right_and_groups(apps)
    for group in groups:
        group.permissions.remove(*right)


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0023_shop_units")]

    operations: ClassVar = [
        migrations.AlterModelOptions(
            "user",
            options={
                "permissions": PERMISSIONS,
                "verbose_name": "user",
                "verbose_name_plural": "users",
            },
        ),
        migrations.RunPython(give, take),
    ]
