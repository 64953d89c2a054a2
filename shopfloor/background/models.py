"""Work that does not wait for a page."""

from __future__ import annotations

from django.db import models


class Work(models.Model):
    """Something to be computed in the background. The row is the truth; the message that wakes a
    worker may be lost or delivered twice, since a sweep sends what is not done again."""

    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=160)
    payload = models.JSONField(default=dict)
    state = models.CharField(max_length=8, default="waiting")  # waiting, running, done, failed
    attempts = models.PositiveSmallIntegerField(default=0)
    error = models.TextField(blank=True)
    wanted_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["state", "wanted_at"])]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "key"],
                condition=models.Q(state="waiting"),
                name="work_waits_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


class Incoming(models.Model):
    """A long file being taken in: how far it is, whether somebody asked to stop, what came of it.
    The bytes lie under their hash until it ends. Nothing of the file is in the shop's records
    unless `state` is "done"."""

    kind = models.CharField(max_length=20)  # program, jobs
    name = models.CharField(max_length=160)
    digest = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField()
    options = models.JSONField(default=dict)
    state = models.CharField(
        max_length=8, default="waiting"
    )  # waiting, reading, done, failed, stopped
    step = models.CharField(max_length=80, blank=True)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(null=True, blank=True)
    stop = models.BooleanField(default=False)
    said = models.TextField(blank=True)
    result = models.JSONField(default=dict)
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"{self.name}, {self.state}"


class Watermark(models.Model):
    """How far a follower has read another room's changes."""

    name = models.CharField(max_length=40, unique=True)
    changed_us = models.BigIntegerField(default=0)
    row_id = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return self.name
