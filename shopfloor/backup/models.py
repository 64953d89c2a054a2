"""When copies are made, and which were."""

from __future__ import annotations

from datetime import time

from django.db import models


class BackupPlan(models.Model):
    """One row. `at` is on the shop's clock. `inside` says that somebody confirmed a folder below
    the data folder, where a backup is lost with what it saves."""

    active = models.BooleanField(default=False)
    at = models.TimeField(default=time(3))
    folder = models.CharField(max_length=500, blank=True)
    inside = models.BooleanField(default=False)
    daily = models.PositiveSmallIntegerField(default=7)
    weekly = models.PositiveSmallIntegerField(default=4)
    monthly = models.PositiveSmallIntegerField(default=12)

    def __str__(self) -> str:
        return f"{self.at:%H:%M} to {self.folder}" if self.active else "no backups by themselves"


class BackupRun(models.Model):
    """One backup that was made or failed. A row of the backup itself is not in it, since rows are
    written when it has ended. `gone_at` is when its file gave way to newer ones."""

    began_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    path = models.CharField(max_length=700)
    size = models.PositiveBigIntegerField(null=True, blank=True)
    state = models.CharField(max_length=8)  # done, failed
    said = models.CharField(max_length=500, blank=True)
    scheduled = models.BooleanField(default=False)
    gone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-ended_at"]
        indexes = [models.Index(fields=["state", "-ended_at"], name="backup_state_at")]

    def __str__(self) -> str:
        return f"{self.path}, {self.state}"
