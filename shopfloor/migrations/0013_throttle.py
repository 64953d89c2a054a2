from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shopfloor', '0012_segment_carries_on'),
    ]

    operations = [
        migrations.CreateModel(
            name='Throttle',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=64, unique=True)),
                ('times', models.PositiveIntegerField()),
                ('ends_us', models.BigIntegerField(db_index=True, help_text='forgotten from then on')),
            ],
        ),
    ]
