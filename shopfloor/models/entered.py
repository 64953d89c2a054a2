from __future__ import annotations

from django.db import models


class EnteredCount(models.Model):
    """What somebody says a torch did while its source was not heard. Counts until lines of that
    time come after all; then those count, once, and what was said is kept beside them."""

    torch = models.ForeignKey("shopfloor.Torch", on_delete=models.PROTECT, related_name="entered")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    starts = models.PositiveIntegerField()
    arc_s = models.FloatField()
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    why = models.CharField(max_length=200, blank=True)
    replaced_at = models.DateTimeField(null=True, blank=True)
    measured_starts = models.PositiveIntegerField(null=True, blank=True)
    measured_arc_s = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["-started_at"]
        indexes = [models.Index(fields=["torch", "started_at"], name="entered_torch_started")]

    def __str__(self) -> str:
        return f"{self.starts} starts entered for torch {self.torch_id}"
