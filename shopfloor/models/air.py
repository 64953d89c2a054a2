from __future__ import annotations

from django.db import models


class AirReading(models.Model):
    """What somebody read off the air at a table: its pressure while it flows, and whether the
    water was drained then. Booked on the shift it was read in."""

    table = models.ForeignKey("shopfloor.Table", on_delete=models.PROTECT, related_name="air")
    at = models.DateTimeField()
    shift_date = models.DateField()
    shift = models.CharField(max_length=40, blank=True)  # blank: read outside any shift
    flowing_kpa = models.FloatField(null=True, blank=True)  # over the atmosphere's
    drained = models.BooleanField(null=True, blank=True)
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["shift_date"], name="air_shift_date")]

    def __str__(self) -> str:
        return f"air at {self.table_id}, {self.at:%Y-%m-%d %H:%M}Z"
