"""What the program says about the future, and what came of it."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class TableTime(models.Model):
    """How long the work of a table takes, as fitted to its runs. `wanted` counts up with every
    change of what it is fitted to; `version` is the count that the fit was made at. `arrays` is an
    npz, `names` says what its columns stand for. `scale` is by how much ranges must be widened for
    the last statements to have held, `scored` how many of them did. `drift`: how the table's work
    has changed of late, the newest change of each figure (`planning.calc.ahead.drift`)."""

    table = models.OneToOneField(
        "shopfloor.Table", on_delete=models.CASCADE, related_name="time_ahead"
    )
    wanted = models.BigIntegerField(default=0)
    version = models.BigIntegerField(default=0)
    model = models.PositiveSmallIntegerField(default=0)
    seed = models.BigIntegerField(default=0)
    cut_off = models.DateTimeField(null=True, blank=True)  # what was known until then
    runs = models.PositiveIntegerField(default=0)
    names = models.JSONField(default=dict)
    arrays = models.BinaryField(null=True, blank=True)
    scale = models.FloatField(default=1.0)
    scored = models.JSONField(default=dict)
    drift = models.JSONField(default=list)
    computed_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"time of {self.table_id}"


class StatementKind(models.TextChoices):
    """The end of a shift's work; a job done by a day; the time of a quote; the life of a piece."""

    END = "end"
    PROMISE = "promise"
    QUOTE = "quote"
    PIECE = "piece"


class Statement(models.Model):
    """Something said about the future, as it was said, and what came of it. A range has
    `quantiles` at the levels of `planning.calc.ahead.scores.LEVELS`, a promise has `chance`; the
    unit is the kind's own (an end: epoch seconds; a quote: seconds; a piece: starts). The outcome
    of a promise is 1 or 0, and its `crps` the Brier score. `slot` tells apart what is said of one
    subject more than once. `rests_on` holds what it was made from, and `list_hash` tells whether
    that changed before the truth was in: it is then `voided`, and counted beside. `replayed`: never
    shown, but made later from what was on record at `made_at`."""

    kind = models.CharField(max_length=10)  # of StatementKind
    subject = models.CharField(max_length=160)
    slot = models.CharField(max_length=20, blank=True)
    table = models.ForeignKey(
        "shopfloor.Table", on_delete=models.CASCADE, null=True, blank=True, related_name="said"
    )
    made_at = models.DateTimeField()
    due_at = models.DateTimeField(null=True, blank=True)  # by when the truth should be in
    model = models.PositiveSmallIntegerField()
    seed = models.BigIntegerField()
    cut_off = models.DateTimeField(null=True, blank=True)
    list_hash = models.CharField(max_length=64, blank=True)
    rests_on = models.JSONField(default=dict)
    scale = models.FloatField(default=1.0)
    quantiles = models.JSONField(null=True, blank=True)
    chance = models.FloatField(null=True, blank=True)
    outcome = models.FloatField(null=True, blank=True)
    raw_pit = models.FloatField(null=True, blank=True)  # before widening by `scale`
    pit = models.FloatField(null=True, blank=True)
    crps = models.FloatField(null=True, blank=True)
    scored_at = models.DateTimeField(null=True, blank=True)
    voided = models.CharField(max_length=200, blank=True)  # why
    replayed = models.BooleanField(default=False)

    class Meta:
        ordering: ClassVar = ["made_at", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["kind", "subject", "slot"], name="said_once")
        ]
        indexes: ClassVar = [
            models.Index(fields=["kind", "table", "made_at"], name="said_of_table"),
            models.Index(fields=["kind", "scored_at"], name="said_unscored"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject} {self.slot}"
