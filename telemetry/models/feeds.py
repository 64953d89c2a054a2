from __future__ import annotations

from django.db import models


class Feed(models.Model):
    """Where one table's lines come from. Its description (TOML) lives in `FeedVersion`."""

    name = models.CharField(max_length=60, unique=True)
    table = models.CharField(max_length=60)
    torch = models.CharField(
        max_length=20, default="1", blank=True, help_text="blank where each line names its own"
    )
    kind = models.CharField(max_length=20)
    enabled = models.BooleanField(default=True)
    # Two sources may watch one table; only a master's arcs are summed. Which counted before the
    # one that counts now: `CountedSpan`.
    master = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)
    clock_version = models.PositiveIntegerField(default=0)
    created_us = models.BigIntegerField()

    class Meta:
        ordering = ["name"]
        indexes = [models.Index(fields=["table"], name="feed_table")]

    def __str__(self) -> str:
        return self.name


class CountedSpan(models.Model):
    """From when until when a feed's arcs count, and at which table and torch. A feed without a row
    counts always where it is a master, else never; rows come once another source takes over from a
    date, the feed moves to another table or torch, or it follows one that left its torch."""

    feed = models.ForeignKey(
        Feed, on_delete=models.CASCADE, related_name="counted_spans", db_index=False
    )
    table = models.CharField(max_length=60)
    torch = models.CharField(max_length=20, blank=True, help_text="blank: named line by line")
    from_us = models.BigIntegerField(null=True, help_text="microseconds UTC; null: always before")
    until_us = models.BigIntegerField(null=True, help_text="not itself; null: still")

    class Meta:
        ordering = ["feed", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["feed", "from_us"], name="counted_span_once"),
        ]

    def __str__(self) -> str:
        return f"{self.feed_id} counts from {self.from_us} until {self.until_us}"


class FeedVersion(models.Model):
    """One text of a feed's description. Rows are never changed; decoded rows name the version."""

    feed = models.ForeignKey(
        Feed, on_delete=models.CASCADE, related_name="versions", db_index=False
    )
    version = models.PositiveIntegerField()
    text = models.TextField()
    sha256 = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["feed", "version"]
        constraints = [
            models.UniqueConstraint(fields=["feed", "version"], name="feed_version_once"),
        ]

    def __str__(self) -> str:
        return f"{self.feed_id} v{self.version}"


class ClockOffset(models.Model):
    """What is added to a feed's stamps, from `from_us` (by the raw stamp) on, and of those only to
    lines that arrived from `heard_from_us` on.

    Version 0 adds nothing.
    """

    feed = models.ForeignKey(
        Feed, on_delete=models.CASCADE, related_name="clock_offsets", db_index=False
    )
    version = models.PositiveIntegerField(default=0)
    offset_us = models.BigIntegerField(default=0)
    from_us = models.BigIntegerField(null=True, help_text="raw stamp; null: all of history")
    # A clock that went back gave the same stamps twice: only arrival tells which were wrong.
    heard_from_us = models.BigIntegerField(
        null=True, help_text="and only lines that arrived from then on; null: any"
    )
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150, blank=True)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["feed", "version"]
        constraints = [
            models.UniqueConstraint(fields=["feed", "version"], name="clock_version_once"),
        ]

    def __str__(self) -> str:
        return f"{self.feed_id} clock v{self.version}: {self.offset_us} us"


class PushToken(models.Model):
    """Opens one pushed feed to one collector. Only a hash is kept; a newer token ends the older.

    `collector` is empty until the first delivery and then the only one that may use it, so that
    two collectors can never mix their bytes in one feed.
    """

    feed = models.ForeignKey(Feed, on_delete=models.CASCADE, related_name="push_tokens")
    token_hash = models.CharField(max_length=64, unique=True)
    collector = models.CharField(max_length=32, blank=True)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150, blank=True)
    ended_at = models.DateTimeField(null=True)
    seen_us = models.BigIntegerField(null=True, help_text="the last delivery")
    clock_off_us = models.BigIntegerField(
        null=True, help_text="how far the collector's clock is ahead of this machine's"
    )
    waiting = models.BigIntegerField(null=True, help_text="records the collector still holds")

    class Meta:
        ordering = ["feed", "-made_at"]

    def __str__(self) -> str:
        return f"{self.feed_id} for {self.collector or 'the first to come'}"
