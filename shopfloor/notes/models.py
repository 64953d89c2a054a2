"""Notes of Today, each with a beginning and an end, and what a shift leaves to the next."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class ShopNote(models.Model):
    """Something that wants a hand, found and ended by the sweep in `planning.services.notes`.
    `code` is the kind, `subject` tells apart what is of one kind; `values` are names and numbers
    named by their unit, of which `planning.reports.notes.words` makes the sentence for a reader.
    `began_at` is when the thing itself began. What comes back soon after its end goes on (see
    `planning.services.notes.AGAIN`), later it is a new row. `seen` is
    a list of `{"person": id, "name": ..., "at_us": ...}`."""

    code = models.CharField(max_length=30)
    subject = models.CharField(max_length=220)
    table = models.ForeignKey(
        "shopfloor.Table", on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    values = models.JSONField(default=dict)
    began_at = models.DateTimeField(db_index=True)
    found_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True, db_index=True)
    seen = models.JSONField(default=list)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["code", "subject"],
                condition=models.Q(ended_at=None),
                name="note_open_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.subject}"


class NoteSweep(models.Model):
    """One row: when the last sweep looked, and at which record of changes."""

    looked_at = models.DateTimeField()
    change = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return str(self.looked_at)


class HandOver(models.Model):
    """What one shift leaves to the next at one table, as a person wrote it. `drafted` is what the
    program had written first; what it said before it was changed stands on the audit trail."""

    table = models.ForeignKey(
        "shopfloor.Table", on_delete=models.PROTECT, related_name="hand_overs"
    )
    shift_date = models.DateField()
    shift = models.CharField(max_length=40)
    text = models.TextField(max_length=2000)
    drafted = models.TextField(blank=True)
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(db_index=True)

    class Meta:
        ordering: ClassVar = ["at"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["table", "shift_date", "shift"], name="hand_over_once_a_shift"
            )
        ]

    def __str__(self) -> str:
        return f"{self.shift_date} {self.shift}"
