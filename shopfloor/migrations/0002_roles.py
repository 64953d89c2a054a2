"""The roles' groups and rights. Rights are made by Django after migrations run, so the content
type and permissions this needs are created here first."""

from django.apps import apps as live_apps
from django.contrib.auth.management import create_permissions
from django.db import migrations

RIGHTS = {
    "operator": ("work_floor",),
    "supervisor": ("work_floor", "assign_arcs", "plan_work", "see_person_times"),
    "planner": ("plan_work", "edit_chart", "assign_arcs"),
    "owner": (
        "see_cost",
        "see_wage",
        "see_margin",
        "see_person_times",
        "assign_arcs",
        "plan_work",
        "edit_chart",
        "close_month",
    ),
    "administrator": ("manage_feeds", "plan_work", "edit_chart"),
}


def give(apps, schema_editor):
    create_permissions(live_apps.get_app_config("shopfloor"), verbosity=0, apps=apps)
    permission = apps.get_model("auth", "Permission")
    group = apps.get_model("auth", "Group")
    for name, codes in RIGHTS.items():
        made, _ = group.objects.get_or_create(name=name)
        made.permissions.set(
            permission.objects.filter(
                content_type__app_label="shopfloor",
                content_type__model="user",
                codename__in=codes,
            )
        )


class Migration(migrations.Migration):
    dependencies = [
        ("shopfloor", "0001_initial"),
        ("auth", "0012_alter_user_first_name_max_length"),
        ("contenttypes", "0002_remove_content_type_name"),
    ]
    operations = [migrations.RunPython(give, migrations.RunPython.noop)]
