from __future__ import annotations

from django.db import models

from telemetry.models.feeds import Feed


class Event(models.Model):
    """One decoded line. Written in bulk by `telemetry.store`; the model is for reading.

    Identity is (feed, key), the key being a hash of facts of the raw bytes, never of a setting: a
    corrected zone cannot double history. Order within a feed is (at_us, seq, tie); `tie` numbers
    lines of one instant in the order their source gave them.
    """

    pk = models.CompositePrimaryKey("feed_id", "key")
    feed = models.ForeignKey(
        Feed, on_delete=models.CASCADE, related_name="+", db_index=False, db_constraint=False
    )
    key = models.BinaryField(max_length=16)
    at_us = models.BigIntegerField()
    seq = models.BigIntegerField(default=-1, help_text="-1: the source numbers no lines")
    tie = models.PositiveIntegerField(default=0)
    torch = models.CharField(max_length=20)
    kind = models.PositiveSmallIntegerField()
    number = models.FloatField(null=True)
    text = models.CharField(max_length=200, null=True)
    stamp = models.CharField(max_length=64, help_text="the time as the line wrote it")
    received_us = models.BigIntegerField()
    feed_version = models.PositiveIntegerField()
    clock_version = models.PositiveIntegerField(default=0)

    class Meta:
        indexes = [models.Index(fields=["feed", "at_us"], name="event_feed_at")]

    def __str__(self) -> str:
        return f"{self.feed_id} {self.at_us} {self.kind}"


class Reject(models.Model):
    """A line that could not be read, kept whole, and read again when the feed is mended."""

    feed = models.ForeignKey(Feed, on_delete=models.CASCADE, related_name="rejects", db_index=False)
    key = models.CharField(max_length=32)
    source = models.CharField(max_length=300, blank=True)
    position = models.BigIntegerField(help_text="line number in its source")
    reason = models.CharField(max_length=40)
    message = models.CharField(max_length=300, blank=True)
    raw = models.BinaryField()
    received_us = models.BigIntegerField()
    feed_version = models.PositiveIntegerField()
    mended_version = models.PositiveIntegerField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["feed", "key"], name="reject_once")]
        indexes = [models.Index(fields=["feed", "-received_us"], name="reject_feed_at")]

    def __str__(self) -> str:
        return f"{self.feed_id}:{self.position}: {self.reason}"

    @property
    def line(self) -> str:
        return bytes(self.raw).decode("utf-8", "replace")


class Repeat(models.Model):
    """How often one line came again under the same number in the same session of its source."""

    feed = models.ForeignKey(Feed, on_delete=models.CASCADE, related_name="repeats", db_index=False)
    key = models.CharField(max_length=32)
    times = models.PositiveIntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["feed", "key"], name="repeat_once")]

    def __str__(self) -> str:
        return f"{self.feed_id} {self.key} x{self.times}"


class Gap(models.Model):
    """Lines that never came: a jump in the source's own numbers, or a link that was down."""

    feed = models.ForeignKey(Feed, on_delete=models.CASCADE, related_name="gaps", db_index=False)
    key = models.CharField(max_length=32)
    kind = models.CharField(max_length=10, help_text="seq or link")
    at_us = models.BigIntegerField()
    first_seq = models.BigIntegerField(null=True)
    last_seq = models.BigIntegerField(null=True)
    message = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["feed", "key"], name="gap_once")]
        indexes = [models.Index(fields=["feed", "at_us"], name="gap_feed_at")]

    def __str__(self) -> str:
        return f"{self.feed_id}: {self.first_seq}..{self.last_seq}"
