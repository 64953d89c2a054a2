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
