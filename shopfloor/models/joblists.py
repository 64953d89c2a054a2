"""Job lists that were brought in, and what a list's own headings mean."""

from __future__ import annotations

from django.db import models


class JobList(models.Model):
    """One list brought in, so that it can be undone as one thing. `customers` are the ids of those
    it made."""

    name = models.CharField(max_length=160)
    by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    at = models.DateTimeField()
    customers = models.JSONField(default=list)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["-at"], name="job_list_at")]

    def __str__(self) -> str:
        return self.name


class HeadingMap(models.Model):
    """What the headings of somebody's job lists mean: {heading in small letters: our column, or
    "" where it is passed over}."""

    name = models.CharField(max_length=60, unique=True)
    meaning = models.JSONField(default=dict)
    at = models.DateTimeField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
