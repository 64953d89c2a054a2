"""The shop's own cut chart."""

from __future__ import annotations

from django.db import models


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


class Dross(models.TextChoices):
    NONE = "none", "none"
    LOOSE = "loose", "comes off by hand"
    HARD = "hard", "has to be ground off"


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

    def dross_words(self) -> str:
        return dict(Dross.choices).get(self.dross, self.dross)


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
