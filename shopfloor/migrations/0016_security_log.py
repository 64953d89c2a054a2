"""The security log, the notes to the owner, and the right to read it, given to the two roles that
have it from now on."""

import django.db.models.deletion
from django.apps import apps as live_apps
from django.conf import settings
from django.contrib.auth.management import create_permissions
from django.db import migrations, models


def _right_and_groups(apps):
    right = apps.get_model("auth", "Permission").objects.filter(
        content_type__app_label="shopfloor", codename="see_security"
    )
    groups = apps.get_model("auth", "Group").objects
    return right, groups.filter(name__in=("owner", "administrator"))


def give(apps, schema_editor):
    create_permissions(live_apps.get_app_config("shopfloor"), verbosity=0, apps=apps)
    right, groups = _right_and_groups(apps)
    for group in groups:
        group.permissions.add(*right)


def take(apps, schema_editor):
    right, groups = _right_and_groups(apps)
    for group in groups:
        group.permissions.remove(*right)


class Migration(migrations.Migration):

    dependencies = [
        ('shopfloor', '0015_verification'),
    ]

    operations = [
        migrations.AlterModelOptions(
            name='user',
            options={'permissions': [('see_cost', 'sees what jobs cost'), ('see_wage', 'sees wage rates'), ('see_margin', 'sees quotes and margin'), ('see_person_times', 'sees times of single persons'), ('work_floor', 'works at a floor terminal'), ('assign_arcs', 'says which job arcs belonged to'), ('plan_work', 'changes jobs, nests, stock and the queue'), ('edit_chart', 'changes the cut chart and rates'), ('manage_feeds', 'adds and changes signal sources'), ('close_month', 'closes a month'), ('see_security', 'reads the security log')], 'verbose_name': 'user', 'verbose_name_plural': 'users'},
        ),
        migrations.RunPython(give, take),
        migrations.CreateModel(
            name='SecurityEvent',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(max_length=24)),
                ('first_at', models.DateTimeField()),
                ('last_at', models.DateTimeField(db_index=True)),
                ('minute', models.BigIntegerField(blank=True, null=True)),
                ('address', models.CharField(blank=True, max_length=64)),
                ('count', models.PositiveIntegerField(default=1)),
                ('about', models.CharField(blank=True, max_length=400)),
                ('by', models.CharField(blank=True, max_length=160)),
                ('text', models.CharField(blank=True, max_length=300)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('kind', 'minute', 'address'), name='security_counted_once')],
            },
        ),
        migrations.CreateModel(
            name='SecurityNotice',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('seen_at', models.DateTimeField(blank=True, null=True)),
                ('event', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='notice', to='shopfloor.securityevent')),
                ('seen_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
        ),
    ]
