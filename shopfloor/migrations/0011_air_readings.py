import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shopfloor', '0010_drawings'),
    ]

    operations = [
        migrations.CreateModel(
            name='AirReading',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
                ('shift_date', models.DateField()),
                ('shift', models.CharField(blank=True, max_length=40)),
                ('flowing_kpa', models.FloatField(blank=True, null=True)),
                ('drained', models.BooleanField(blank=True, null=True)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('table', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='air', to='shopfloor.table')),
            ],
            options={
                'ordering': ['-at'],
                'indexes': [models.Index(fields=['shift_date'], name='air_shift_date')],
            },
        ),
    ]
