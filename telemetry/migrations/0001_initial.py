import django.db.models.deletion
from django.db import migrations, models


def create_event(apps, schema_editor):
    """SQLite keeps events in the tree of their key alone: half the bytes of a row with a row id."""
    model = apps.get_model('telemetry', 'Event')
    if schema_editor.connection.vendor != 'sqlite':
        schema_editor.create_model(model)
        return
    sql, params = schema_editor.table_sql(model)
    schema_editor.execute(sql + ' WITHOUT ROWID', params or None)
    for index in model._meta.indexes:
        schema_editor.add_index(model, index)


def drop_event(apps, schema_editor):
    schema_editor.delete_model(apps.get_model('telemetry', 'Event'))


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='Feed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=60, unique=True)),
                ('table', models.CharField(max_length=60)),
                ('torch', models.CharField(blank=True, default='1', help_text='blank where each line names its own', max_length=20)),
                ('kind', models.CharField(max_length=20)),
                ('enabled', models.BooleanField(default=True)),
                ('master', models.BooleanField(default=True)),
                ('version', models.PositiveIntegerField(default=1)),
                ('clock_version', models.PositiveIntegerField(default=0)),
                ('created_us', models.BigIntegerField()),
            ],
            options={
                'ordering': ['name'],
                'indexes': [models.Index(fields=['table'], name='feed_table')],
            },
        ),
        migrations.CreateModel(
            name='Health',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('link', models.CharField(help_text='open, waiting or failed', max_length=10)),
                ('message', models.CharField(blank=True, max_length=300)),
                ('since_us', models.BigIntegerField()),
                ('beat_us', models.BigIntegerField()),
                ('last_byte_us', models.BigIntegerField(null=True)),
                ('feed', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='health', to='telemetry.feed')),
            ],
        ),
        migrations.SeparateDatabaseAndState(state_operations=[
        migrations.CreateModel(
            name='Event',
            fields=[
                ('pk', models.CompositePrimaryKey('feed_id', 'key', blank=True, editable=False, primary_key=True, serialize=False)),
                ('key', models.BinaryField(max_length=16)),
                ('at_us', models.BigIntegerField()),
                ('seq', models.BigIntegerField(default=-1, help_text='-1: the source numbers no lines')),
                ('tie', models.PositiveIntegerField(default=0)),
                ('torch', models.CharField(max_length=20)),
                ('kind', models.PositiveSmallIntegerField()),
                ('number', models.FloatField(null=True)),
                ('text', models.CharField(max_length=200, null=True)),
                ('stamp', models.CharField(help_text='the time as the line wrote it', max_length=64)),
                ('received_us', models.BigIntegerField()),
                ('feed_version', models.PositiveIntegerField()),
                ('clock_version', models.PositiveIntegerField(default=0)),
                ('feed', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='telemetry.feed')),
            ],
            options={
                'indexes': [models.Index(fields=['feed', 'at_us'], name='event_feed_at')],
            },
        ),
        ]),
        migrations.RunPython(create_event, drop_event),
        migrations.CreateModel(
            name='Cursor',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('lane', models.CharField(help_text='live or backfill', max_length=20)),
                ('sequence', models.BigIntegerField(default=1, help_text='of the next record to read')),
                ('segment', models.BigIntegerField(default=0)),
                ('byte_offset', models.BigIntegerField(default=0)),
                ('state', models.JSONField(default=dict)),
                ('lines', models.BigIntegerField(default=0)),
                ('events', models.BigIntegerField(default=0)),
                ('known', models.BigIntegerField(default=0, help_text='lines read again, already stored')),
                ('last_line_us', models.BigIntegerField(null=True)),
                ('changed_us', models.BigIntegerField(default=0)),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='cursors', to='telemetry.feed')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('feed', 'lane'), name='cursor_once')],
            },
        ),
        migrations.CreateModel(
            name='ClockOffset',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=0)),
                ('offset_us', models.BigIntegerField(default=0)),
                ('from_us', models.BigIntegerField(help_text='raw stamp; null: all of history', null=True)),
                ('made_at', models.DateTimeField()),
                ('made_by', models.CharField(blank=True, max_length=150)),
                ('reason', models.CharField(blank=True, max_length=200)),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='clock_offsets', to='telemetry.feed')),
            ],
            options={
                'ordering': ['feed', 'version'],
                'constraints': [models.UniqueConstraint(fields=('feed', 'version'), name='clock_version_once')],
            },
        ),
        migrations.CreateModel(
            name='Arc',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=200, unique=True)),
                ('table', models.CharField(max_length=60)),
                ('torch', models.CharField(max_length=20)),
                ('on_us', models.BigIntegerField()),
                ('off_us', models.BigIntegerField(null=True)),
                ('ended', models.CharField(help_text='off, lost or open', max_length=4)),
                ('pierces', models.PositiveIntegerField(help_text='null: this source cannot know', null=True)),
                ('first_pierce_us', models.BigIntegerField(null=True)),
                ('program', models.CharField(max_length=200, null=True)),
                ('amps', models.FloatField(help_text='mean of the samples in the arc', null=True)),
                ('volts', models.FloatField(help_text='mean of the samples in the arc', null=True)),
                ('feed_version', models.PositiveIntegerField()),
                ('clock_version', models.PositiveIntegerField(default=0)),
                ('changed_us', models.BigIntegerField()),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='arcs', to='telemetry.feed')),
            ],
            options={
                'ordering': ['on_us', 'id'],
                'indexes': [models.Index(fields=['table', 'on_us'], name='arc_table_on'), models.Index(fields=['feed', 'torch', 'on_us'], name='arc_feed_torch_on'), models.Index(fields=['changed_us', 'id'], name='arc_changed')],
            },
        ),
        migrations.CreateModel(
            name='Alarm',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=30)),
                ('message', models.CharField(max_length=300)),
                ('at_us', models.BigIntegerField()),
                ('cleared_us', models.BigIntegerField(null=True)),
                ('feed', models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name='alarms', to='telemetry.feed')),
            ],
            options={
                'indexes': [models.Index(fields=['cleared_us', 'at_us'], name='alarm_open')],
            },
        ),
        migrations.CreateModel(
            name='FeedVersion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField()),
                ('text', models.TextField()),
                ('sha256', models.CharField(max_length=64)),
                ('made_at', models.DateTimeField()),
                ('made_by', models.CharField(blank=True, max_length=150)),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='versions', to='telemetry.feed')),
            ],
            options={
                'ordering': ['feed', 'version'],
                'constraints': [models.UniqueConstraint(fields=('feed', 'version'), name='feed_version_once')],
            },
        ),
        migrations.CreateModel(
            name='Gap',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=32)),
                ('kind', models.CharField(help_text='seq or link', max_length=10)),
                ('at_us', models.BigIntegerField()),
                ('first_seq', models.BigIntegerField(null=True)),
                ('last_seq', models.BigIntegerField(null=True)),
                ('message', models.CharField(blank=True, max_length=300)),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='gaps', to='telemetry.feed')),
            ],
            options={
                'indexes': [models.Index(fields=['feed', 'at_us'], name='gap_feed_at')],
                'constraints': [models.UniqueConstraint(fields=('feed', 'key'), name='gap_once')],
            },
        ),
        migrations.CreateModel(
            name='Reject',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=32)),
                ('source', models.CharField(blank=True, max_length=300)),
                ('position', models.BigIntegerField(help_text='line number in its source')),
                ('reason', models.CharField(max_length=40)),
                ('message', models.CharField(blank=True, max_length=300)),
                ('raw', models.BinaryField()),
                ('received_us', models.BigIntegerField()),
                ('feed_version', models.PositiveIntegerField()),
                ('mended_version', models.PositiveIntegerField(null=True)),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='rejects', to='telemetry.feed')),
            ],
            options={
                'indexes': [models.Index(fields=['feed', '-received_us'], name='reject_feed_at')],
                'constraints': [models.UniqueConstraint(fields=('feed', 'key'), name='reject_once')],
            },
        ),
        migrations.CreateModel(
            name='Repeat',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=32)),
                ('times', models.PositiveIntegerField()),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='repeats', to='telemetry.feed')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('feed', 'key'), name='repeat_once')],
            },
        ),
        migrations.CreateModel(
            name='Rollup',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('table', models.CharField(max_length=60)),
                ('torch', models.CharField(max_length=20)),
                ('bucket_us', models.BigIntegerField()),
                ('burn_us', models.BigIntegerField()),
                ('arcs', models.PositiveIntegerField()),
                ('pierces', models.PositiveIntegerField(null=True)),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='rollups', to='telemetry.feed')),
            ],
            options={
                'indexes': [models.Index(fields=['table', 'bucket_us'], name='rollup_table_bucket')],
                'constraints': [models.UniqueConstraint(fields=('feed', 'torch', 'bucket_us'), name='rollup_once')],
            },
        ),
        migrations.CreateModel(
            name='SourcePosition',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('path', models.CharField(max_length=500)),
                ('generation', models.PositiveIntegerField(default=1)),
                ('device', models.BigIntegerField(default=0)),
                ('inode', models.CharField(blank=True, max_length=24)),
                ('fingerprint', models.CharField(blank=True, help_text='of the first bytes', max_length=200)),
                ('byte_offset', models.BigIntegerField(default=0)),
                ('prefix_hash', models.CharField(blank=True, help_text='of the bytes read', max_length=64)),
                ('changed_us', models.BigIntegerField(default=0)),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='sources', to='telemetry.feed')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('feed', 'path', 'generation'), name='source_once')],
            },
        ),
        migrations.CreateModel(
            name='Stray',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('torch', models.CharField(max_length=20)),
                ('at_us', models.BigIntegerField()),
                ('kind', models.CharField(help_text='off or pierce', max_length=6)),
                ('event_key', models.CharField(max_length=32)),
                ('feed', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='strays', to='telemetry.feed')),
            ],
            options={
                'indexes': [models.Index(fields=['feed', 'torch', 'at_us'], name='stray_feed_torch_at')],
                'constraints': [models.UniqueConstraint(fields=('feed', 'event_key'), name='stray_once')],
            },
        ),
    ]
