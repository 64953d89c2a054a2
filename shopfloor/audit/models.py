"""The trail."""

from __future__ import annotations

from django.db import models


class Change(models.Model):
    """The audit trail, written by triggers in the database itself, so that a bulk write leaves
    the same trace as a page. `old` and `new` hold the row as JSON."""

    table = models.CharField(max_length=60)
    row = models.CharField(max_length=60)
    operation = models.CharField(max_length=6)  # insert, update, delete
    old = models.JSONField(null=True)
    new = models.JSONField(null=True)
    who = models.CharField(max_length=160, blank=True)
    why = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["table", "row"]), models.Index(fields=["at"])]

    def __str__(self) -> str:
        return f"{self.operation} {self.table} {self.row}"
