"""Whether the books still add up."""

from __future__ import annotations

from django.db import models


class Verification(models.Model):
    """One run of `verify`. Without `ended_at` it is going on, or was cut off: the lock tells."""

    asked = models.CharField(max_length=8)  # night, button, command
    by = models.ForeignKey(
        "shopfloor.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    faults = models.PositiveIntegerField(default=0)
    findings = models.JSONField(default=list)  # [{what, where, text, fault}], the first 200
    counts = models.JSONField(default=dict)  # how much was looked at

    class Meta:
        ordering = ["-started_at"]
        indexes = [models.Index(fields=["-started_at"], name="verification_started")]

    def __str__(self) -> str:
        return f"verification of {self.started_at:%Y-%m-%d %H:%M}Z"
