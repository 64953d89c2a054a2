"""Customers, jobs, their lines and bench time."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.wording.evidence import Evidence


class Customer(models.Model):
    name = models.CharField(max_length=120, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class JobState(models.TextChoices):
    OPEN = "open", _lazy("open")
    HELD = "held", _lazy("held")
    CLOSED = "closed", _lazy("closed")


class Job(models.Model):
    number = models.CharField(max_length=40, unique=True)
    customer = models.ForeignKey("shopfloor.Customer", on_delete=models.PROTECT)
    title = models.CharField(max_length=160)
    due_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=8, default=JobState.OPEN)
    hold_reason = models.CharField(max_length=120, blank=True)
    quote_minor = models.BigIntegerField(null=True, blank=True)
    weight = models.PositiveSmallIntegerField(default=1)
    made_at = models.DateTimeField(auto_now_add=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    source = models.CharField(max_length=200, blank=True)  # file and line it was imported from
    job_list = models.ForeignKey(
        "shopfloor.JobList", on_delete=models.SET_NULL, null=True, blank=True, related_name="jobs"
    )

    class Meta:
        ordering = ["number"]
        indexes = [
            models.Index(fields=["state", "due_at"]),
            models.Index(fields=["state", "closed_at"], name="job_state_closed"),
        ]

    def __str__(self) -> str:
        return self.number


class JobLine(models.Model):
    """A part and a quantity. `u_range_asked` is the ISO 9013 u range the drawing asks (1 is the
    squarest), blank where it asks nothing."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveSmallIntegerField()
    part = models.CharField(max_length=80)
    quantity = models.PositiveIntegerField()
    material = models.ForeignKey("shopfloor.Material", on_delete=models.PROTECT)
    thickness_mm = models.FloatField()
    thickness_text = models.CharField(max_length=40)
    u_range_asked = models.PositiveSmallIntegerField(null=True, blank=True)
    next_step = models.CharField(max_length=40, blank=True)  # weld, bend, coat, ...
    must_be_fine = models.BooleanField(default=False)
    drawing = models.ForeignKey(
        "shopfloor.Drawing", on_delete=models.SET_NULL, null=True, blank=True, related_name="lines"
    )  # area, length and pierces come from its newest revision
    job_list = models.ForeignKey(
        "shopfloor.JobList", on_delete=models.SET_NULL, null=True, blank=True, related_name="lines"
    )

    class Meta:
        ordering = ["job", "number"]
        indexes = [models.Index(fields=["part"], name="line_part")]
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="line_once_a_job"),
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="line_quantity_some"),
        ]

    def __str__(self) -> str:
        return f"{self.job_id}/{self.number}"


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


class JobList(models.Model):
    """One list brought in, so that it can be undone as one thing. `customers` are the ids of those
    it made."""

    name = models.CharField(max_length=160)
    by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    at = models.DateTimeField()
    customers = models.JSONField(default=list)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["-at"], name="job_list_at")]

    def __str__(self) -> str:
        return self.name


class HeadingMap(models.Model):
    """What the headings of somebody's job lists mean: {heading in small letters: our column, or
    "" where it is passed over}."""

    name = models.CharField(max_length=60, unique=True)
    meaning = models.JSONField(default=dict)
    at = models.DateTimeField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
