"""Rates, postings, months and quotes."""

from __future__ import annotations

from datetime import date

from django.db import models
from django.db.models.functions import Length
from django.utils.translation import gettext_lazy as _lazy


class RateKind(models.TextChoices):
    MACHINE = "machine", _lazy("machine, per hour")
    LABOUR = "labour", _lazy("operator, per hour")
    BENCH = "bench", _lazy("bench, per hour")
    GAS = "gas", _lazy("gas, per arc hour")
    ENERGY = "energy", _lazy("energy, per kWh")


class Rate(models.Model):
    """What an hour (or a kWh) costs from a date on, in minor units of the shop's currency."""

    kind = models.CharField(max_length=12)
    table = models.ForeignKey(
        "shopfloor.Table", on_delete=models.PROTECT, null=True, blank=True, related_name="rates"
    )
    amount_minor = models.BigIntegerField()
    valid_from = models.DateField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["kind", "valid_from"])]
        ordering = ["kind", "-valid_from"]

    def __str__(self) -> str:
        return f"{self.kind} from {self.valid_from}"


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
    MATERIAL = "material", _lazy("material")
    MACHINE = "machine", _lazy("machine")
    LABOUR = "labour", _lazy("labour")
    BENCH = "bench", _lazy("bench")
    WEAR = "wear", _lazy("wear parts")
    GAS = "gas", _lazy("gas")
    ENERGY = "energy", _lazy("power")
    CREDIT = "credit", _lazy("remnant credit")
    CRASH = "crash", _lazy("crash")


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


class QuoteState(models.TextChoices):
    OPEN = "open", _lazy("open")
    WON = "won", _lazy("won")
    LOST = "lost", _lazy("lost")


class Quote(models.Model):
    """One revision of an offer. A change of price makes the next revision; what a revision said
    stays. `cost_minor` is what its work exceeds with the chosen chance, and its material;
    `price_minor` what the customer was asked. `forecast` keeps the distribution of the whole work's
    cost (quantiles at the levels of `planning.calc.ahead.scores`) and what it was drawn from."""

    number = models.CharField(max_length=40)
    revision = models.PositiveSmallIntegerField(default=1)
    customer = models.ForeignKey("shopfloor.Customer", on_delete=models.PROTECT)
    title = models.CharField(max_length=160)
    state = models.CharField(max_length=8, default=QuoteState.OPEN)
    overrun_chance = models.FloatField(default=0.2)
    price_date = models.DateField()
    valid_until = models.DateField()
    plan_minor = models.BigIntegerField(null=True, blank=True)  # blank: a part of it is unknown
    cost_minor = models.BigIntegerField(null=True, blank=True)
    price_minor = models.BigIntegerField(null=True, blank=True)
    unknown = models.JSONField(default=list)
    forecast = models.JSONField(default=dict)  # empty: made before there was one, or unknown
    # What the customer's page says besides prices, as typed.
    enquiry = models.CharField(max_length=120, blank=True)
    lead_time = models.CharField(max_length=120, blank=True)
    terms = models.CharField(max_length=400, blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    why = models.CharField(max_length=200, blank=True)
    job = models.ForeignKey(
        "shopfloor.Job", on_delete=models.PROTECT, null=True, blank=True, related_name="quotes"
    )

    class Meta:
        ordering = ["-number", "-revision"]
        indexes = [  # the list's order, of numbers that grow in digits
            models.Index(Length("number").desc(), models.F("number").desc(), name="quote_newest")
        ]
        constraints = [
            models.UniqueConstraint(fields=["number", "revision"], name="quote_revision_once")
        ]

    def __str__(self) -> str:
        return f"{self.number} rev {self.revision}"

    def expired(self, day: date) -> bool:
        """Whether nobody decided on it and it is not valid any more on a date."""
        return self.state == QuoteState.OPEN and self.valid_until < day


class QuoteLine(models.Model):
    """One program so many sheets, or one drawing so many parts (`sheets` then holds the sheets they
    are reckoned to take), on one table with one set. `made_from` keeps the plan, the rates, the
    sheet's price and the runs it was priced from."""

    quote = models.ForeignKey(Quote, on_delete=models.CASCADE, related_name="lines")
    number = models.PositiveSmallIntegerField()
    revision = models.ForeignKey(
        "shopfloor.NestRevision", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    drawing = models.ForeignKey(
        "shopfloor.DrawingRevision",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    parts = models.PositiveIntegerField(null=True, blank=True)  # of a drawing
    table = models.ForeignKey("shopfloor.Table", on_delete=models.PROTECT, related_name="+")
    wear_set = models.ForeignKey("shopfloor.WearSet", on_delete=models.PROTECT, related_name="+")
    sheets = models.PositiveIntegerField()
    plan_minor = models.BigIntegerField(null=True, blank=True)  # all sheets, without material
    cost_minor = models.BigIntegerField(null=True, blank=True)  # its share of the whole's
    material_minor = models.BigIntegerField(null=True, blank=True)
    setup_min = models.FloatField(default=0.0)  # once, however many sheets
    setup_minor = models.BigIntegerField(null=True, blank=True, default=0)  # blank: no rate
    words = models.CharField(max_length=160, blank=True)  # what the customer reads it is
    breaks = models.JSONField(default=list)  # what other quantities cost, by `quote_breaks`
    made_from = models.JSONField(default=dict)

    class Meta:
        ordering = ["quote", "number"]
        constraints = [
            models.UniqueConstraint(fields=["quote", "number"], name="quote_line_once"),
            models.CheckConstraint(
                condition=models.Q(revision=None, drawing__isnull=False, parts__gt=0)
                | models.Q(revision__isnull=False, drawing=None, parts=None),
                name="quote_line_of_nest_or_drawing",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quote_id}/{self.number}"


class Summary(models.Model):
    """A report of planning that reads too much for a page to wait for it. `wanted` counts up with
    every change of what it is made from, in the change's own transaction; `version` is the count
    that `body` was made at, so that one which lags is never taken for the newest."""

    kind = models.CharField(max_length=20)  # month, factors, life, failures
    key = models.CharField(max_length=40, blank=True)
    wanted = models.BigIntegerField(default=0)
    version = models.BigIntegerField(default=0)
    body = models.JSONField(null=True, blank=True)
    computed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "key"], name="summary_once")]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"
