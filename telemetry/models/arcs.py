from __future__ import annotations

from django.db import models

from telemetry.models.feeds import Feed


class Arc(models.Model):
    """One arc-on interval of one torch: always the pairing of the feed's stored events.

    `key` is "<feed name>|<torch>|<key of the arc_on event>": a rebuild gives it again, so whoever
    says what an arc belonged to says it by this key, never by row id.
    """

    key = models.CharField(max_length=200)
    feed = models.ForeignKey(
        Feed, on_delete=models.PROTECT, related_name="arcs", db_index=False, db_constraint=False
    )
    table = models.CharField(max_length=60)
    torch = models.CharField(max_length=20)
    on_us = models.BigIntegerField()
    # Null while open. Of a lost arc: the last instant that shows it burning, else its own start.
    off_us = models.BigIntegerField(null=True)
    ended = models.CharField(max_length=4, help_text="off, lost or open")
    pierces = models.PositiveIntegerField(null=True, help_text="null: this source cannot know")
    first_pierce_us = models.BigIntegerField(null=True)
    program = models.CharField(max_length=200, null=True)
    amps = models.FloatField(null=True, help_text="mean of the samples in the arc")
    volts = models.FloatField(null=True, help_text="mean of the samples in the arc")
    feed_version = models.PositiveIntegerField()
    clock_version = models.PositiveIntegerField(default=0)
    changed_us = models.BigIntegerField()

    class Meta:
        ordering = ["on_us", "id"]
        # Not `unique=True`: that would add an index for searches by the beginning of a key.
        constraints = [models.UniqueConstraint(fields=["key"], name="arc_once")]
        indexes = [
            models.Index(fields=["table", "on_us"], name="arc_table_on"),
            models.Index(fields=["feed", "torch", "on_us"], name="arc_feed_torch_on"),
            models.Index(fields=["changed_us", "id"], name="arc_changed"),
        ]

    def __str__(self) -> str:
        return self.key

    @property
    def seconds(self) -> float | None:
        """Length in seconds; None while the arc is open."""
        return None if self.off_us is None else (self.off_us - self.on_us) / 1_000_000


class GoneArc(models.Model):
    """An arc that is no more: a late line or a mended description made another of it. Kept so that
    those who follow arcs hear of it; `changed_us` is of the same count as that of arcs."""

    key = models.CharField(max_length=200)
    table = models.CharField(max_length=60)
    torch = models.CharField(max_length=20)
    on_us = models.BigIntegerField()
    changed_us = models.BigIntegerField()

    class Meta:
        indexes = [models.Index(fields=["changed_us", "id"], name="gonearc_changed")]

    def __str__(self) -> str:
        return f"{self.key} is gone"


class Stray(models.Model):
    """An arc_off with no arc, or a pierce outside one: kept, because both say lines were missed."""

    feed = models.ForeignKey(Feed, on_delete=models.CASCADE, related_name="strays", db_index=False)
    torch = models.CharField(max_length=20)
    at_us = models.BigIntegerField()
    kind = models.CharField(max_length=6, help_text="off or pierce")
    event_key = models.CharField(max_length=32)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["feed", "event_key"], name="stray_once")]
        indexes = [models.Index(fields=["feed", "torch", "at_us"], name="stray_feed_torch_at")]

    def __str__(self) -> str:
        return f"{self.feed_id} {self.kind} {self.at_us}"


class Rollup(models.Model):
    """Burning in one 15-minute UTC bucket of one torch, recomputed from arcs, never incremented.
    A source that moved within the quarter hour has a row for each table.

    A UTC quarter hour serves every zone and the days of 23 and 25 hours. An arc over a boundary is
    split; it is counted, with its pierces, in the bucket it began in. An open arc adds nothing yet.
    """

    feed = models.ForeignKey(Feed, on_delete=models.CASCADE, related_name="rollups", db_index=False)
    table = models.CharField(max_length=60)
    torch = models.CharField(max_length=20)
    bucket_us = models.BigIntegerField()
    burn_us = models.BigIntegerField()
    arcs = models.PositiveIntegerField()
    pierces = models.PositiveIntegerField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["feed", "torch", "bucket_us", "table"], name="rollup_once"
            ),
        ]
        indexes = [
            models.Index(fields=["table", "bucket_us"], name="rollup_table_bucket"),
            # A day of all tables: without it PostgreSQL reads the whole history for today's page.
            models.Index(fields=["bucket_us"], name="rollup_bucket"),
        ]

    def __str__(self) -> str:
        return f"{self.table}/{self.torch} {self.bucket_us}"
