"""What happened on the floor: runs, their segments, parts, stoppages, checks, bench work."""

from __future__ import annotations

import uuid

from django.db import models


class Evidence(models.TextChoices):
    """Where a minute or a count comes from."""

    MEASURED = "measured", "measured"
    ENTERED = "entered", "entered"
    PLANNED = "planned", "planned"
    UNKNOWN = "unknown", "unknown"


class QueueItem(models.Model):
    """One nest waiting to be burnt once on a table, in the order the shop wants."""

    nest = models.ForeignKey("shopfloor.Nest", on_delete=models.PROTECT, related_name="queue")
    table = models.ForeignKey("shopfloor.Table", on_delete=models.PROTECT, related_name="queue")
    sheet = models.ForeignKey("shopfloor.Sheet", on_delete=models.PROTECT, null=True, blank=True)
    position = models.PositiveIntegerField()
    due_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=10, default="waiting")  # waiting, running, done, dropped

    class Meta:
        ordering = ["table", "position"]
        indexes = [models.Index(fields=["table", "state", "position"])]
        constraints = [
            models.UniqueConstraint(
                fields=["sheet"],
                condition=models.Q(state__in=("waiting", "running")),
                name="sheet_promised_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.nest_id} on {self.table_id}"


class RunState(models.TextChoices):
    OPEN = "open", "running"
    STOPPED = "stopped", "stopped"
    FINISHED = "finished", "finished"
    VOIDED = "voided", "voided"


class Run(models.Model):
    """One nest burnt on one sheet. `plan` is the snapshot its plan was made from, taken when the
    run opened: later changes of chart or rates leave it alone."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    revision = models.ForeignKey(
        "shopfloor.NestRevision", on_delete=models.PROTECT, related_name="runs"
    )
    sheet = models.ForeignKey(
        "shopfloor.Sheet", on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    table = models.ForeignKey("shopfloor.Table", on_delete=models.PROTECT, related_name="runs")
    queue_item = models.ForeignKey(
        QueueItem, on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    state = models.CharField(max_length=10, default=RunState.OPEN)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    evidence = models.CharField(max_length=10, default=Evidence.MEASURED)
    plan = models.JSONField(default=dict)
    swap_reason = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["table", "opened_at"]),
            models.Index(fields=["state", "opened_at"], name="run_state_opened"),
        ]

    def __str__(self) -> str:
        return f"run {str(self.id)[:8]}"


class Segment(models.Model):
    """An unbroken stretch of a run: one table, torch, set and operator. `end_assumed` says the
    end was not pressed but taken from the last arc; `carries_on` that it begins with the contour
    after the last of the stretch before, whatever ended that one."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="segments")
    torch = models.ForeignKey("shopfloor.Torch", on_delete=models.PROTECT, related_name="segments")
    wear_set = models.ForeignKey("shopfloor.WearSet", on_delete=models.PROTECT)
    operator = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="segments"
    )
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    first_contour = models.PositiveIntegerField(default=1)
    last_contour = models.PositiveIntegerField(null=True, blank=True)
    end_reason = models.CharField(max_length=20, blank=True)  # finish, shift, power, crash, rush
    end_assumed = models.BooleanField(default=False)
    carries_on = models.BooleanField(default=False)

    class Meta:
        ordering = ["started_at"]
        indexes = [
            models.Index(fields=["torch", "started_at"]),
            models.Index(fields=["started_at"], name="segment_started"),
            models.Index(
                fields=["started_at"], condition=models.Q(ended_at=None), name="segment_open"
            ),
        ]

    def __str__(self) -> str:
        return f"segment {self.pk} of {self.run_id}"


class Stoppage(models.Model):
    """Time with a reason (blank: not given yet). Shorter gaps are waits and have no row."""

    table = models.ForeignKey("shopfloor.Table", on_delete=models.PROTECT, related_name="stoppages")
    run = models.ForeignKey(
        Run, on_delete=models.PROTECT, null=True, blank=True, related_name="stoppages"
    )
    reason = models.ForeignKey("shopfloor.Reason", on_delete=models.PROTECT, null=True, blank=True)
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    evidence = models.CharField(max_length=10, default=Evidence.ENTERED)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["started_at"]
        indexes = [
            models.Index(fields=["table", "started_at"]),
            models.Index(
                fields=["table", "started_at"],
                condition=models.Q(ended_at=None),
                name="stoppage_open",
            ),
        ]

    def __str__(self) -> str:
        return f"stoppage {self.pk}"


class ArcAssignment(models.Model):
    """Which run an arc belonged to, by the arc's key and never by a row id: a rebuild of intake
    reproduces the keys, and what a person said survives it. `by` blank: matching said so."""

    arc_key = models.CharField(max_length=200, unique=True)
    segment = models.ForeignKey(
        Segment, on_delete=models.CASCADE, null=True, blank=True, related_name="assignments"
    )  # blank with `by` set: a person said it belongs to no job
    contour_number = models.PositiveIntegerField(null=True, blank=True)
    repeat = models.BooleanField(default=False)  # a misfire or a contour burnt again
    by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    at = models.DateTimeField()
    why = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["segment"])]

    def __str__(self) -> str:
        return self.arc_key


class PartResult(models.Model):
    """Parts of one line from one run, judged: good, scrap (with cause) or rework. Corrections
    are rows of their own with a negative quantity, never edits."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="results")
    line = models.ForeignKey("shopfloor.JobLine", on_delete=models.PROTECT, related_name="results")
    outcome = models.CharField(max_length=8)  # good, scrap, rework
    quantity = models.IntegerField()
    contour_number = models.PositiveIntegerField(null=True, blank=True)
    cause = models.CharField(max_length=40, blank=True)
    evidence = models.CharField(max_length=10, default=Evidence.ENTERED)
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    action = models.ForeignKey(
        "shopfloor.Action", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        indexes = [models.Index(fields=["line", "outcome"])]

    def __str__(self) -> str:
        return f"{self.quantity} {self.outcome} of {self.line_id}"


class Check(models.Model):
    """A measured cut. `u_mm` given directly, or from an angle, or from top and bottom size: the
    way is kept in `measured`."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="checks")
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


class BenchEntry(models.Model):
    """Labour after the cut, for a line."""

    line = models.ForeignKey("shopfloor.JobLine", on_delete=models.PROTECT, related_name="bench")
    kind = models.CharField(max_length=12)  # dross, edge, holes, flatten
    minutes = models.FloatField()
    at = models.DateTimeField()
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    evidence = models.CharField(max_length=10, default=Evidence.ENTERED)
    action = models.ForeignKey(
        "shopfloor.Action", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["at"]
        indexes = [models.Index(fields=["kind", "at"], name="bench_kind_at")]

    def __str__(self) -> str:
        return f"{self.minutes:g} min {self.kind}"
