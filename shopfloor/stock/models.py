"""Heats and sheets."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _lazy


class Heat(models.Model):
    """A heat number with its mill certificate (kept by content hash)."""

    number = models.CharField(max_length=60)
    material = models.ForeignKey("shopfloor.Material", on_delete=models.PROTECT)
    certificate = models.FileField(upload_to="certificates/", blank=True)
    certificate_sha256 = models.CharField(max_length=64, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["number", "material"], name="heat_once_a_material")
        ]

    def __str__(self) -> str:
        return self.number


class SheetState(models.TextChoices):
    IN_STOCK = "in_stock", _lazy("in stock")
    ON_TABLE = "on_table", _lazy("on a table")
    CUT = "cut", _lazy("cut")
    RETURNED = "returned", _lazy("returned to customer")
    WRITTEN_OFF = "written_off", _lazy("written off")


class Sheet(models.Model):
    """A sheet or a remnant of one (`parent`). Customer's own plate has an owner and no cost.
    Size as typed stays beside the nominal millimetres."""

    code = models.CharField(max_length=40, unique=True)
    material = models.ForeignKey("shopfloor.Material", on_delete=models.PROTECT)
    thickness_mm = models.FloatField()
    thickness_text = models.CharField(max_length=40)
    length_mm = models.FloatField()
    width_mm = models.FloatField()
    area_mm2 = models.FloatField()  # of the rectangle, or of what is left for a remnant
    heat = models.ForeignKey(Heat, on_delete=models.PROTECT, null=True, blank=True)
    owner = models.ForeignKey(
        "shopfloor.Customer", on_delete=models.PROTECT, null=True, blank=True, related_name="sheets"
    )  # blank: the shop's
    cost_minor = models.BigIntegerField(null=True, blank=True)  # blank: unknown
    parent = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="remnants"
    )
    place = models.CharField(max_length=40, blank=True)
    state = models.CharField(max_length=12, default=SheetState.IN_STOCK)
    received_at = models.DateTimeField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["state", "material", "thickness_mm"]),
            models.Index(fields=["material", "received_at"], name="sheet_material_at"),
        ]
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code
