"""Materials, sets, the cut chart, its trials and factors."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.chart.cut_settings import OF_TRIAL, known_faults
from shopfloor.chart.duties import set_words


class WearSet(models.Model):
    """The wear parts that belong together for one current."""

    code = models.CharField(max_length=40, unique=True)
    duty = models.CharField(max_length=4)  # a code of `duties.py`
    current_a = models.FloatField()
    gas = models.CharField(max_length=40, default="air")
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["current_a"]

    def __str__(self) -> str:
        return set_words(self.duty, self.current_a)


class PieceKind(models.TextChoices):
    ELECTRODE = "electrode", _lazy("electrode")
    NOZZLE = "nozzle", _lazy("nozzle")
    SHIELD = "shield", _lazy("shield")
    SWIRL_RING = "swirl_ring", _lazy("swirl ring")
    RETAINING_CAP = "retaining_cap", _lazy("retaining cap")


class SetPart(models.Model):
    """What a set takes of each kind, what it costs and how long its maker rates it (blank:
    unknown). One that is `same_as` another set's is the same part in the same drawer: `parts.py`
    keeps name, price, counts and how it is bought alike; lives and limits are the set's own."""

    wear_set = models.ForeignKey(WearSet, on_delete=models.PROTECT, related_name="parts")
    kind = models.CharField(max_length=16)
    name = models.CharField(max_length=80)
    price_minor = models.BigIntegerField()
    rated_starts = models.PositiveIntegerField(null=True, blank=True)
    pit_limit_mm = models.FloatField(null=True, blank=True)
    in_drawer = models.PositiveIntegerField(default=0)
    low_at = models.PositiveIntegerField(default=2)
    same_as = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="same"
    )
    lead_days = models.PositiveIntegerField(null=True, blank=True)  # from order to drawer
    pack = models.PositiveIntegerField(default=1)  # sold by so many

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["wear_set", "kind"], name="one_part_a_kind_a_set")
        ]

    def __str__(self) -> str:
        return self.name


class Material(models.Model):
    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    family = models.CharField(max_length=20, default="carbon")  # which gauge table applies
    density_kg_m3 = models.FloatField()
    caution = models.CharField(max_length=40, blank=True)  # chromium, coated, aluminium

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class ChartRow(models.Model):
    """One row for set, material and thickness. Rows are never edited: a change ends one
    (`valid_to`) and begins another, so an old plan can show what it was made from."""

    wear_set = models.ForeignKey(
        "shopfloor.WearSet", on_delete=models.PROTECT, related_name="chart_rows"
    )
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="chart_rows")
    thickness_mm = models.FloatField()
    thickness_text = models.CharField(max_length=40)
    speed_mm_min = models.FloatField()
    pierce_delay_s = models.FloatField()
    touch_off_s = models.FloatField(default=0.0)
    pierce_height_mm = models.FloatField(null=True, blank=True)
    cut_height_mm = models.FloatField(null=True, blank=True)
    arc_v = models.FloatField(null=True, blank=True)
    kerf_mm = models.FloatField(null=True, blank=True)
    max_pierce_mm = models.FloatField(null=True, blank=True)
    u_mm = models.FloatField(null=True, blank=True)  # what the shop expects of u, blank: unknown
    bench_min_per_m = models.FloatField(null=True, blank=True)
    example = models.BooleanField(default=False)  # example values, not for cutting
    valid_from = models.DateTimeField()
    valid_to = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["material", "wear_set", "thickness_mm"]
        indexes = [models.Index(fields=["wear_set", "material", "thickness_mm"])]

    def __str__(self) -> str:
        return f"{self.wear_set} {self.material} {self.thickness_text}"

    def clean(self) -> None:
        if wrong := known_faults(vars(self)):
            raise ValidationError(wrong)


class Dross(models.TextChoices):
    NONE = "none", _lazy("none")
    LOOSE = "loose", _lazy("comes off by hand")
    HARD = "hard", _lazy("has to be ground off")


class ChartTrial(models.Model):
    """Parameters tried on scrap and what came out. A trial is never edited: it is struck with a
    reason, or promoted by a person to a chart row, which it then stays tied to."""

    wear_set = models.ForeignKey(
        "shopfloor.WearSet", on_delete=models.PROTECT, related_name="trials"
    )
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="trials")
    thickness_mm = models.FloatField()
    thickness_text = models.CharField(max_length=40)
    table = models.ForeignKey(
        "shopfloor.Table", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    current_a = models.FloatField()
    speed_mm_min = models.FloatField()
    pierce_delay_s = models.FloatField()
    touch_off_s = models.FloatField(null=True, blank=True)
    pierce_height_mm = models.FloatField(null=True, blank=True)
    cut_height_mm = models.FloatField(null=True, blank=True)
    arc_v = models.FloatField(null=True, blank=True)
    kerf_mm = models.FloatField(null=True, blank=True)
    u_mm = models.FloatField(null=True, blank=True)
    angle_deg = models.FloatField(null=True, blank=True)
    severed = models.BooleanField(default=True)
    dross = models.CharField(max_length=8, blank=True)  # blank: nobody looked
    note = models.CharField(max_length=400, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_why = models.CharField(max_length=200, blank=True)
    row = models.OneToOneField(
        ChartRow, on_delete=models.PROTECT, null=True, blank=True, related_name="trial"
    )
    promoted_at = models.DateTimeField(null=True, blank=True)
    promoted_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"trial {self.pk}: {self.wear_set} {self.material} {self.thickness_text}"

    def clean(self) -> None:
        if wrong := known_faults(vars(self), OF_TRIAL):
            raise ValidationError(wrong)

    def dross_words(self) -> str:
        return str(dict(Dross.choices).get(self.dross, self.dross))


class ThicknessAnswer(models.Model):
    """What a person said once of a thickness that has no row of its own but nearly one:
    cut it by that row, or interpolate. Asked again only where the answer was taken back."""

    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    thickness_mm = models.FloatField()
    row_mm = models.FloatField()
    by_row = models.BooleanField()
    at = models.DateTimeField()
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["material", "thickness_mm", "row_mm"], name="thickness_answered_once"
            )
        ]

    def __str__(self) -> str:
        how = "by the row for" if self.by_row else "not by the row for"
        return f"{self.material} {self.thickness_mm:g} mm {how} {self.row_mm:g} mm"


class FactorState(models.TextChoices):
    PROPOSED = "proposed", _lazy("proposed")
    ACCEPTED = "accepted", _lazy("accepted")
    DECLINED = "declined", _lazy("declined")


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
