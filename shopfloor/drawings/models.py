"""Drawings and what they plan to."""

from __future__ import annotations

from django.db import models


class Drawing(models.Model):
    """A part's drawing in one material and thickness; its figures live in its revisions."""

    name = models.CharField(max_length=80, unique=True)
    material = models.ForeignKey("shopfloor.Material", on_delete=models.PROTECT)
    thickness_mm = models.FloatField()
    thickness_text = models.CharField(max_length=40)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class DrawingRevision(models.Model):
    """A file and the way it was read: either one changed makes the next revision. `file` is named
    by the hash of its bytes. Lengths in mm, areas in mm2; blank is unknown."""

    drawing = models.ForeignKey(Drawing, on_delete=models.PROTECT, related_name="revisions")
    revision = models.PositiveSmallIntegerField()
    file = models.FileField(upload_to="drawings/")
    file_name = models.CharField(max_length=160)
    bytes_sha256 = models.CharField(max_length=64)
    unit = models.CharField(max_length=4)
    unit_said = models.BooleanField()  # by the file; else a person chose it
    gap_mm = models.FloatField()
    roles = models.JSONField(default=dict)  # {layer: cut, mark, ignore} where a person chose
    layers = models.JSONField(default=list)
    contours = models.JSONField(default=list)  # with points, for the map
    notes = models.JSONField(default=list)
    cut_mm = models.FloatField()
    mark_mm = models.FloatField()
    pierces = models.PositiveIntegerField()
    net_area_mm2 = models.FloatField(null=True, blank=True)
    extents_mm = models.JSONField(default=list)
    known_by = models.PositiveSmallIntegerField(default=0)  # version of shopfloor.library.recognise
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["drawing", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["drawing", "revision"], name="drawing_revision_once")
        ]

    def __str__(self) -> str:
        return f"{self.drawing_id} rev {self.revision}"


class DrawingPlan(models.Model):
    """Published by planning: what one part would take on a table with a set, as long as there is
    no program: loading apart, by the rules in `snapshot`. `problem` says why there is no figure."""

    revision = models.ForeignKey(DrawingRevision, on_delete=models.CASCADE, related_name="plans")
    table = models.ForeignKey("shopfloor.Table", on_delete=models.CASCADE)
    wear_set = models.ForeignKey("shopfloor.WearSet", on_delete=models.CASCADE)
    cut_mm = models.FloatField(null=True, blank=True)
    travel_mm = models.FloatField(null=True, blank=True)
    pierces = models.PositiveIntegerField(null=True, blank=True)
    cut_s = models.FloatField(null=True, blank=True)
    pierce_s = models.FloatField(null=True, blank=True)
    travel_s = models.FloatField(null=True, blank=True)
    touch_off_s = models.FloatField(null=True, blank=True)
    load_s = models.FloatField(null=True, blank=True)  # of a whole sheet, in no cost here
    total_s = models.FloatField(null=True, blank=True)  # arc on + travel + touch-off
    bench_min = models.FloatField(null=True, blank=True)
    arcs_s = models.JSONField(default=list)
    costs_minor = models.JSONField(default=dict)  # by posting kind, without material and loading
    snapshot = models.JSONField(default=dict)
    problem = models.CharField(max_length=300, blank=True)
    computed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "table", "wear_set"], name="drawing_plan_once"
            )
        ]

    def __str__(self) -> str:
        return f"plan of drawing {self.revision_id} on {self.table_id}"
