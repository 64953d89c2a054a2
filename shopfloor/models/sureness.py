"""How sure a plan is: the shop's own factors, and quotes with their chance of an overrun."""

from __future__ import annotations

from django.db import models


class FactorState(models.TextChoices):
    PROPOSED = "proposed", "proposed"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined"


class Factor(models.Model):
    """What runs with a set in a material and thickness take against their plan. Worked out from
    measured runs and used in plans only once a person accepts it, from `valid_from` until the next
    accepted one ends it. Rows are never edited but for that."""

    wear_set = models.ForeignKey(
        "shopfloor.WearSet", on_delete=models.PROTECT, related_name="factors"
    )
    material = models.ForeignKey(
        "shopfloor.Material", on_delete=models.PROTECT, related_name="factors"
    )
    thickness_mm = models.FloatField()
    value = models.FloatField()
    low = models.FloatField()  # ends of the 90 % interval
    high = models.FloatField()
    bare = models.FloatField()  # this cell's own geometric mean, not drawn towards the shop's
    shop = models.FloatField()  # the shop's mean it was drawn towards
    runs = models.PositiveIntegerField()
    runs_from = models.DateField()
    runs_to = models.DateField()
    state = models.CharField(max_length=8, default=FactorState.PROPOSED)
    proposed_at = models.DateTimeField()
    decided_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    why = models.CharField(max_length=200, blank=True)
    valid_from = models.DateTimeField(null=True, blank=True)
    valid_to = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["material", "thickness_mm", "wear_set", "-proposed_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["wear_set", "material", "thickness_mm"],
                condition=models.Q(state="accepted", valid_to=None),
                name="one_factor_in_force",
            ),
            models.UniqueConstraint(
                fields=["wear_set", "material", "thickness_mm"],
                condition=models.Q(state="proposed"),
                name="one_factor_proposed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.value:.3f} for {self.wear_set_id} in {self.thickness_mm:g} mm"


class QuoteState(models.TextChoices):
    OPEN = "open", "open"
    WON = "won", "won"
    LOST = "lost", "lost"


class Quote(models.Model):
    """One revision of an offer. A change of price makes the next revision; what a revision said
    stays. `cost_minor` is the plan with the allowance for the chosen chance of an overrun,
    `price_minor` what the customer was asked."""

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
        constraints = [
            models.UniqueConstraint(fields=["number", "revision"], name="quote_revision_once")
        ]

    def __str__(self) -> str:
        return f"{self.number} rev {self.revision}"


class QuoteLine(models.Model):
    """One program so many sheets, or one drawing so many parts (`sheets` then holds the sheets they
    are reckoned to take), on one table with one set. `made_from` keeps the plan, the rates, the
    sheet's price and the shop's own spread it was priced from."""

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
    cost_minor = models.BigIntegerField(null=True, blank=True)  # the same with its allowance
    material_minor = models.BigIntegerField(null=True, blank=True)
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
