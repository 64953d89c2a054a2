"""Checks of parts."""

from __future__ import annotations

from django.db import models


class Check(models.Model):
    """A measured cut. `u_mm` given directly, or from an angle, or from top and bottom size: the
    way is kept in `measured`."""

    run = models.ForeignKey("shopfloor.Run", on_delete=models.PROTECT, related_name="checks")
    at = models.DateTimeField()
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    measured = models.JSONField(default=dict)
    u_mm = models.FloatField(null=True, blank=True)
    rz5_um = models.FloatField(null=True, blank=True)
    kerf_mm = models.FloatField(null=True, blank=True)
    dross = models.CharField(max_length=20, blank=True)
    u_range = models.PositiveSmallIntegerField(null=True, blank=True)
    passed = models.BooleanField(null=True, blank=True)
    shape = models.CharField(max_length=8, blank=True)  # outside, hole: what the sizes are of
    correction_mm = models.FloatField(null=True, blank=True)  # of the kerf, per side, with sign
    countersigned_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    countersigned_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["at"]
        indexes = [models.Index(fields=["at"], name="check_at")]

    def __str__(self) -> str:
        return f"check {self.pk} of {self.run_id}"
