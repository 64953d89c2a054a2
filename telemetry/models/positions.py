from __future__ import annotations

from django.db import models

from telemetry.models.feeds import Feed


class Cursor(models.Model):
    """How far one lane of a feed's journal has been decoded, saved in the transaction that stored
    what was decoded: position, decoder state and counters can never disagree with the rows."""

    feed = models.ForeignKey(Feed, on_delete=models.CASCADE, related_name="cursors", db_index=False)
    lane = models.CharField(max_length=20, help_text="live or backfill")
    sequence = models.BigIntegerField(default=1, help_text="of the next record to read")
    segment = models.BigIntegerField(default=0)
    byte_offset = models.BigIntegerField(default=0)
    state = models.JSONField(default=dict)
    lines = models.BigIntegerField(default=0)
    events = models.BigIntegerField(default=0)
    known = models.BigIntegerField(default=0, help_text="lines read again, already stored")
    last_line_us = models.BigIntegerField(null=True)
    changed_us = models.BigIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["feed", "lane"], name="cursor_once")]

    def __str__(self) -> str:
        return f"{self.feed_id}/{self.lane} @{self.sequence}"


class SourcePosition(models.Model):
    """How far a file has been read into the journal, and enough of it to know it again."""

    feed = models.ForeignKey(Feed, on_delete=models.CASCADE, related_name="sources", db_index=False)
    path = models.CharField(max_length=500)
    generation = models.PositiveIntegerField(default=1)
    device = models.BigIntegerField(default=0)
    inode = models.CharField(max_length=24, blank=True)
    fingerprint = models.CharField(max_length=200, blank=True, help_text="of the first bytes")
    byte_offset = models.BigIntegerField(default=0)
    prefix_hash = models.CharField(max_length=64, blank=True, help_text="of the bytes read")
    changed_us = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["feed", "path", "generation"], name="source_once"),
        ]

    def __str__(self) -> str:
        return f"{self.path}#{self.generation}@{self.byte_offset}"


class Health(models.Model):
    """What the worker last knew of a feed. Written with a beat, so that age is always known."""

    feed = models.OneToOneField(Feed, on_delete=models.CASCADE, related_name="health")
    link = models.CharField(max_length=10, help_text="open, waiting or failed")
    message = models.CharField(max_length=300, blank=True)
    since_us = models.BigIntegerField()
    beat_us = models.BigIntegerField()
    last_byte_us = models.BigIntegerField(null=True)
    # How far the source's stamps lag behind arrival, over lines heard live under one clock version.
    lag_us = models.BigIntegerField(null=True)
    lag_spread_us = models.BigIntegerField(null=True)
    lag_lines = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.feed_id} {self.link}"


class Alarm(models.Model):
    """Something a person must look at: a damaged journal, a full disk, a clock that jumped."""

    feed = models.ForeignKey(Feed, on_delete=models.CASCADE, null=True, related_name="alarms")
    code = models.CharField(max_length=30)
    message = models.CharField(max_length=300)
    at_us = models.BigIntegerField()
    cleared_us = models.BigIntegerField(null=True)

    class Meta:
        indexes = [models.Index(fields=["cleared_us", "at_us"], name="alarm_open")]

    def __str__(self) -> str:
        return f"{self.code}: {self.message}"
