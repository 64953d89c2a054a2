"""The newest quotes, and those whose jobs were closed last, are found by an index."""

from django.db import migrations, models
from django.db.models.functions import Length


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0054_replayed")]

    operations = [
        migrations.AddIndex(
            model_name="job",
            index=models.Index(fields=["state", "closed_at"], name="job_state_closed"),
        ),
        migrations.AddIndex(
            model_name="quote",
            index=models.Index(
                Length("number").desc(), models.F("number").desc(), name="quote_newest"
            ),
        ),
    ]
