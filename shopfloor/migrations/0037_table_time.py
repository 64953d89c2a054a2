"""The time a table's work takes, as fitted, and statements about the future with what came of them."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shopfloor', '0036_reason_kind'),
    ]

    operations = [
        migrations.CreateModel(
            name='TableTime',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('wanted', models.BigIntegerField(default=0)),
                ('version', models.BigIntegerField(default=0)),
                ('model', models.PositiveSmallIntegerField(default=0)),
                ('seed', models.BigIntegerField(default=0)),
                ('cut_off', models.DateTimeField(blank=True, null=True)),
                ('runs', models.PositiveIntegerField(default=0)),
                ('names', models.JSONField(default=dict)),
                ('arrays', models.BinaryField(blank=True, null=True)),
                ('scale', models.FloatField(default=1.0)),
                ('scored', models.JSONField(default=dict)),
                ('computed_at', models.DateTimeField(blank=True, null=True)),
                ('table', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='time_ahead', to='shopfloor.table')),
            ],
        ),
        migrations.CreateModel(
            name='Statement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(max_length=10)),
                ('subject', models.CharField(max_length=160)),
                ('slot', models.CharField(blank=True, max_length=20)),
                ('made_at', models.DateTimeField()),
                ('due_at', models.DateTimeField(blank=True, null=True)),
                ('model', models.PositiveSmallIntegerField()),
                ('seed', models.BigIntegerField()),
                ('cut_off', models.DateTimeField(blank=True, null=True)),
                ('list_hash', models.CharField(blank=True, max_length=64)),
                ('rests_on', models.JSONField(default=dict)),
                ('scale', models.FloatField(default=1.0)),
                ('quantiles', models.JSONField(blank=True, null=True)),
                ('chance', models.FloatField(blank=True, null=True)),
                ('outcome', models.FloatField(blank=True, null=True)),
                ('raw_pit', models.FloatField(blank=True, null=True)),
                ('pit', models.FloatField(blank=True, null=True)),
                ('crps', models.FloatField(blank=True, null=True)),
                ('scored_at', models.DateTimeField(blank=True, null=True)),
                ('voided', models.CharField(blank=True, max_length=200)),
                ('table', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='said', to='shopfloor.table')),
            ],
            options={
                'ordering': ['made_at', 'pk'],
                'indexes': [models.Index(fields=['kind', 'table', 'made_at'], name='said_of_table'), models.Index(fields=['kind', 'scored_at'], name='said_unscored')],
                'constraints': [models.UniqueConstraint(fields=('kind', 'subject', 'slot'), name='said_once')],
            },
        ),
    ]
