"""What was cut."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.wording.evidence import Evidence


class RunState(models.TextChoices):
    OPEN = "open", _lazy("running")
    STOPPED = "stopped", _lazy("stopped")
    FINISHED = "finished", _lazy("finished")
    VOIDED = "voided", _lazy("voided")


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
        "shopfloor.QueueItem", on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
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

    @property
    def planned(self) -> bool:
        """Whether its reason is one that is planned; one without a reason is not."""
        return self.reason is not None and self.reason.planned


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


class RunVariance(models.Model):
    """Published by planning: a run's elapsed time against its plan, in terms that sum exactly.
    `terms` is `{name: seconds}` with merged names where the feed cannot tell them apart."""

    run = models.OneToOneField("shopfloor.Run", on_delete=models.CASCADE, related_name="variance")
    planned_s = models.FloatField(null=True, blank=True)
    elapsed_s = models.FloatField(null=True, blank=True)
    arc_s = models.FloatField(null=True, blank=True)
    arcs = models.PositiveIntegerField(null=True, blank=True)
    pierces = models.PositiveIntegerField(null=True, blank=True)
    terms = models.JSONField(default=dict)
    spent = models.JSONField(default=dict)  # where the elapsed time went, same names
    planned_terms = models.JSONField(default=dict)  # the plan by the same names
    minor_per_hour = models.BigIntegerField(null=True, blank=True)  # what a second of a term costs
    misfires = models.PositiveIntegerField(null=True, blank=True)  # blank: the source cannot know
    coverage = models.FloatField(null=True, blank=True)
    computed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"variance of {self.run_id}"
