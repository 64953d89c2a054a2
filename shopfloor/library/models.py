"""Parts known by their shape, where each is found, and shapes that are nearly one."""

from __future__ import annotations

from django.db import models


class KnownPart(models.Model):
    """One shape in one material and thickness. `rings` are its outline and holes without leads,
    [[x, y], ...] in mm; `lines` open cuts in it; `marked`
    that it has a face. `from_drawing` says that the kerf is not
    in them. The other figures are what it is looked up by. `follows` is the part that a person says
    it is a later revision of."""

    name = models.CharField(max_length=80)
    named = models.BooleanField(default=False)  # by a person: reading leaves it alone
    material = models.ForeignKey("shopfloor.Material", on_delete=models.PROTECT)
    thickness_mm = models.FloatField()
    thickness_text = models.CharField(max_length=40)
    rings = models.JSONField(default=list)
    lines = models.JSONField(default=list)
    marked = models.BooleanField(default=False)
    from_drawing = models.BooleanField(default=False)
    step_mm = models.FloatField(default=0.0)
    holes = models.PositiveIntegerField()
    area_mm2 = models.FloatField()
    around_mm = models.FloatField()
    follows = models.ForeignKey(
        "self", on_delete=models.SET_NULL, null=True, blank=True, related_name="later"
    )
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["name", "pk"]
        indexes = [
            models.Index(fields=["material", "holes", "around_mm"], name="known_part_signature"),
            models.Index(fields=["name"], name="known_part_name"),
        ]

    def __str__(self) -> str:
        return self.name


class PartPlace(models.Model):
    """Where a part is found: copies in a nest's revision that are for one job line, or a drawing's
    revision. `share` is what they carry of the cut length that the revision has for that line,
    `of_nest` of all of it. `offset_mm` is how much further out its edges lie than the part's."""

    part = models.ForeignKey(KnownPart, on_delete=models.CASCADE, related_name="places")
    revision = models.ForeignKey(
        "shopfloor.NestRevision", on_delete=models.CASCADE, null=True, blank=True,
        related_name="known",
    )  # fmt: skip
    drawing_revision = models.ForeignKey(
        "shopfloor.DrawingRevision", on_delete=models.CASCADE, null=True, blank=True,
        related_name="known",
    )  # fmt: skip
    line = models.ForeignKey(
        "shopfloor.JobLine", on_delete=models.CASCADE, null=True, blank=True, related_name="known"
    )
    contour = models.PositiveIntegerField()  # the first copy's outline
    copies = models.PositiveIntegerField(default=1)
    turned_over = models.PositiveIntegerField(default=0)  # of the copies
    share = models.FloatField(default=0.0)
    of_nest = models.FloatField(default=0.0)
    offset_mm = models.FloatField(default=0.0)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["line"], name="part_place_line")]

    def __str__(self) -> str:
        return f"{self.part_id} in {self.revision_id or self.drawing_revision_id}"


class LikePart(models.Model):
    """A part that is nearly an older one, found when it was first read; `changes` says in what
    (`planning.calc.alike.Change`). A person answers whether it is a later revision of it."""

    part = models.ForeignKey(KnownPart, on_delete=models.CASCADE, related_name="likes")
    older = models.ForeignKey(KnownPart, on_delete=models.CASCADE, related_name="liked_by")
    changes = models.JSONField(default=list)
    answer = models.CharField(max_length=10, blank=True)  # revision, other
    by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["part", "older"], name="like_part_once")]

    def __str__(self) -> str:
        return f"{self.part_id} like {self.older_id}"
