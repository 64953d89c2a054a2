"""Published by planning beside a run's variance: what it took day by day, and of which pieces; and
whole reports, kept until what they are made from has changed."""

from __future__ import annotations

from django.db import models


class RunDay(models.Model):
    """A run's torch time on one shift date with one set: what days and duties are summed from, so
    that no page adds up arcs. `planned_arc_s` is on the row of the run's first day only."""

    run = models.ForeignKey("shopfloor.Run", on_delete=models.CASCADE, related_name="days")
    shift_date = models.DateField()
    table = models.ForeignKey("shopfloor.Table", on_delete=models.CASCADE, related_name="+")
    wear_set = models.ForeignKey("shopfloor.WearSet", on_delete=models.CASCADE, related_name="+")
    arcs = models.PositiveIntegerField(default=0)
    arc_s = models.FloatField(default=0.0)
    elapsed_s = models.FloatField(default=0.0)
    planned_arc_s = models.FloatField(null=True, blank=True)
    cut_mm = models.FloatField(default=0.0)
    # Of the elapsed time, what the source did not tell: entered since, and unknown still.
    entered_s = models.FloatField(default=0.0)
    entered_arc_s = models.FloatField(default=0.0)
    unknown_s = models.FloatField(default=0.0)
    evidence = models.CharField(max_length=10)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["run", "shift_date", "wear_set"], name="run_once_a_day_and_set"
            )
        ]
        indexes = [models.Index(fields=["shift_date", "table"])]

    def __str__(self) -> str:
        return f"{self.run_id} on {self.shift_date}"


class PieceUse(models.Model):
    """What one run took of one piece: its starts and arc time while the piece was in the torch.
    `weights` shares it between job lines: `{line id, or "" for the shop: weight}`."""

    run = models.ForeignKey("shopfloor.Run", on_delete=models.CASCADE, related_name="piece_uses")
    piece = models.ForeignKey("shopfloor.Piece", on_delete=models.CASCADE, related_name="uses")
    at = models.DateTimeField()  # of its first start in the run: the order in which it is charged
    starts = models.PositiveIntegerField()
    arc_s = models.FloatField()
    weights = models.JSONField(default=dict)
    evidence = models.CharField(max_length=10)
    known_starts = models.PositiveIntegerField(default=0)  # heard or entered; the others planned

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["run", "piece"], name="piece_use_once_a_run")
        ]

    def __str__(self) -> str:
        return f"{self.starts} starts of {self.piece_id} in {self.run_id}"


class Summary(models.Model):
    """A report of planning that reads too much for a page to wait for it. `wanted` counts up with
    every change of what it is made from, in the change's own transaction; `version` is the count
    that `body` was made at, so that one which lags is never taken for the newest."""

    kind = models.CharField(max_length=20)  # month, factors
    key = models.CharField(max_length=40, blank=True)
    wanted = models.BigIntegerField(default=0)
    version = models.BigIntegerField(default=0)
    body = models.JSONField(null=True, blank=True)
    computed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "key"], name="summary_once")]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"
