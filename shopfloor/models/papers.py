"""Papers that go with the work, by what they say."""

from __future__ import annotations

from django.db import models


class Paper(models.Model):
    """One revision of a traveler (of a job) or of a setup sheet (of a nest, for a table). A new
    one is made only where what it says has changed; printing the same again is the same paper.
    Its number is part of its printed code, so that a scan tells an old one."""

    kind = models.CharField(max_length=8)  # traveler, setup
    job = models.ForeignKey(
        "shopfloor.Job", on_delete=models.PROTECT, null=True, blank=True, related_name="papers"
    )
    nest = models.ForeignKey(
        "shopfloor.Nest", on_delete=models.PROTECT, null=True, blank=True, related_name="papers"
    )
    table = models.ForeignKey(
        "shopfloor.Table", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    number = models.PositiveIntegerField()
    said_sha256 = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="traveler_once_a_job"),
            models.UniqueConstraint(fields=["nest", "number"], name="setup_once_a_nest"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.number}"
