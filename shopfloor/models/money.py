"""Postings: what a closed month is read from, and nothing else."""

from __future__ import annotations

from django.db import models


class Month(models.Model):
    """A calendar month of shift dates. Once closed it never changes: later facts are posted into
    the open month, naming the one they belong to."""

    first_day = models.DateField(unique=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    printed = models.JSONField(null=True, blank=True)  # its report as it stood when it was closed

    class Meta:
        ordering = ["first_day"]

    def __str__(self) -> str:
        return f"{self.first_day:%Y-%m}"


class PostingKind(models.TextChoices):
    MATERIAL = "material", "material"
    MACHINE = "machine", "machine"
    LABOUR = "labour", "labour"
    BENCH = "bench", "bench"
    WEAR = "wear", "wear parts"
    GAS = "gas", "gas"
    ENERGY = "energy", "power"
    CREDIT = "credit", "remnant credit"
    CRASH = "crash", "crash"


class Posting(models.Model):
    """An amount that belongs to a job line (or to the shop, where `line` is blank). Never edited:
    a correction reverses it with a row of its own. `key` makes a repeated computation harmless."""

    key = models.CharField(max_length=160, unique=True)
    month = models.ForeignKey(Month, on_delete=models.PROTECT, related_name="postings")
    belongs_to = models.ForeignKey(
        Month, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )  # the closed month a late fact is about
    shift_date = models.DateField()
    kind = models.CharField(max_length=10)
    line = models.ForeignKey(
        "shopfloor.JobLine",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="postings",
    )
    run = models.ForeignKey(
        "shopfloor.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="postings"
    )
    piece = models.ForeignKey(
        "shopfloor.Piece", on_delete=models.PROTECT, null=True, blank=True, related_name="postings"
    )
    quantity = models.FloatField(null=True, blank=True)
    unit = models.CharField(max_length=12, blank=True)  # s, start, mm2, kWh, min
    amount_minor = models.BigIntegerField()
    cause = models.CharField(max_length=40, blank=True)
    evidence = models.CharField(max_length=10)
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )
    by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )  # blank: computed
    why = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [
            models.Index(fields=["month", "kind"]),
            models.Index(fields=["line", "kind"]),
            models.Index(fields=["run"]),
        ]

    def __str__(self) -> str:
        return self.key


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
