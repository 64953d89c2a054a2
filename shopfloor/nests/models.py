"""Nests, their programs and plans, the queue, the papers."""

from __future__ import annotations

from django.db import models


class Nest(models.Model):
    """A cut program for one kind of sheet. The bytes live in its revisions."""

    name = models.CharField(max_length=80, unique=True)
    material = models.ForeignKey("shopfloor.Material", on_delete=models.PROTECT)
    thickness_mm = models.FloatField()
    thickness_text = models.CharField(max_length=40)
    wear_set = models.ForeignKey("shopfloor.WearSet", on_delete=models.PROTECT)  # chosen route
    table = models.ForeignKey("shopfloor.Table", on_delete=models.PROTECT, null=True, blank=True)
    sheets_wanted = models.PositiveSmallIntegerField(default=1)
    # The sheet it was laid out on, where it is known: what lies beyond it is said on reading.
    sheet_length_mm = models.FloatField(null=True, blank=True)
    sheet_width_mm = models.FloatField(null=True, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class NestRevision(models.Model):
    """The program's bytes at one time. `bytes_sha256` changes with any byte, `path_sha256` only
    with what the torch does, so that a changed comment voids no setup sheet."""

    nest = models.ForeignKey(Nest, on_delete=models.PROTECT, related_name="revisions")
    revision = models.PositiveSmallIntegerField()
    program = models.BinaryField()
    file_name = models.CharField(max_length=160)
    bytes_sha256 = models.CharField(max_length=64)
    path_sha256 = models.CharField(max_length=64)
    notes = models.JSONField(default=list)
    extents_mm = models.JSONField(default=list)
    step_mm = models.FloatField(default=0.0)  # of the program's last decimal; 0: not known
    reader = models.PositiveSmallIntegerField(default=0)  # version that made its rows
    known_by = models.PositiveSmallIntegerField(default=0)  # version of shopfloor.library.recognise
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["nest", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["nest", "revision"], name="revision_once_a_nest")
        ]

    def __str__(self) -> str:
        return f"{self.nest_id} rev {self.revision}"


class Contour(models.Model):
    """One contour of a revision, numbered in cut order; `line` ties it to what was ordered.
    `copy` tells the same part's copies on one sheet apart: a part is good or scrap as a whole."""

    revision = models.ForeignKey(NestRevision, on_delete=models.CASCADE, related_name="contours")
    number = models.PositiveIntegerField()
    line = models.ForeignKey(
        "shopfloor.JobLine",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="contours",
    )
    part = models.CharField(max_length=80, blank=True)
    copy = models.PositiveIntegerField(default=1)
    inner = models.BooleanField(default=False)
    closed = models.BooleanField(default=True)
    cut_mm = models.FloatField()
    net_area_mm2 = models.FloatField(null=True, blank=True)  # of the part, on its outer contour
    pierces = models.PositiveSmallIntegerField(default=1)
    points = models.JSONField(default=list)  # [[x, y], ...] in mm, for the map
    # Its own share of its arc: less than 1 where it cuts an edge for another part too, more where
    # another contour cuts one of its edges.
    common_share = models.FloatField(default=1.0)
    lit_line = models.PositiveIntegerField(null=True, blank=True)  # of the program
    lead_in_mm = models.FloatField(default=0.0)  # of cut_mm
    lead_out_mm = models.FloatField(default=0.0)
    # How many parts of one kind it makes: several where they are chained in one torch-on path, or
    # where the last cut of a grid parts them. `faces` are their rings where they are not what the
    # contour encloses by itself, `edges` numbers of other contours that cut their edges.
    parts = models.PositiveSmallIntegerField(default=1)
    faces = models.JSONField(default=list)
    edges = models.JSONField(default=list)

    class Meta:
        ordering = ["revision", "number"]
        constraints = [
            models.UniqueConstraint(fields=["revision", "number"], name="contour_once_a_revision")
        ]
        indexes = [models.Index(fields=["line", "copy", "revision"], name="contour_line_copy")]

    def __str__(self) -> str:
        return f"{self.revision_id} contour {self.number}"


class NestPlan(models.Model):
    """Published by planning: what a revision takes on a table with a set, when it was computed
    and from which figures (`snapshot`). `problem` says why there is no figure."""

    revision = models.ForeignKey(NestRevision, on_delete=models.CASCADE, related_name="plans")
    table = models.ForeignKey("shopfloor.Table", on_delete=models.CASCADE)
    wear_set = models.ForeignKey("shopfloor.WearSet", on_delete=models.CASCADE)
    cut_mm = models.FloatField(null=True, blank=True)
    travel_mm = models.FloatField(null=True, blank=True)
    pierces = models.PositiveIntegerField(null=True, blank=True)
    cut_s = models.FloatField(null=True, blank=True)
    pierce_s = models.FloatField(null=True, blank=True)
    travel_s = models.FloatField(null=True, blank=True)
    touch_off_s = models.FloatField(null=True, blank=True)
    load_s = models.FloatField(null=True, blank=True)  # load and unload
    total_s = models.FloatField(null=True, blank=True)  # arc on + travel + touch-off
    factor = models.ForeignKey(
        "shopfloor.Factor", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )  # the shop's own, in force when it was planned
    expected_s = models.FloatField(null=True, blank=True)  # total and load x the factor
    bench_min = models.FloatField(null=True, blank=True)
    arcs_s = models.JSONField(default=list)  # planned seconds of each contour's arc, in order
    costs_minor = models.JSONField(default=dict)  # by posting kind, without material
    snapshot = models.JSONField(default=dict)
    problem = models.CharField(max_length=300, blank=True)
    computed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "table", "wear_set"], name="plan_once_a_table_and_set"
            )
        ]

    def __str__(self) -> str:
        return f"plan of {self.revision_id} on {self.table_id}"


class QueueItem(models.Model):
    """One nest waiting to be burnt once on a table, in the order the shop wants."""

    nest = models.ForeignKey("shopfloor.Nest", on_delete=models.PROTECT, related_name="queue")
    table = models.ForeignKey("shopfloor.Table", on_delete=models.PROTECT, related_name="queue")
    sheet = models.ForeignKey("shopfloor.Sheet", on_delete=models.PROTECT, null=True, blank=True)
    position = models.PositiveIntegerField()
    due_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=10, default="waiting")  # waiting, running, done, dropped

    class Meta:
        ordering = ["table", "position"]
        indexes = [models.Index(fields=["table", "state", "position"])]
        constraints = [
            models.UniqueConstraint(
                fields=["sheet"],
                condition=models.Q(state__in=("waiting", "running")),
                name="sheet_promised_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.nest_id} on {self.table_id}"


class Paper(models.Model):
    """One revision of a traveler (of a job) or of a setup sheet (of a nest, for a table). A new
    one is made only where what it says has changed; printing the same again is the same paper.
    Its number is part of its printed code, so that a scan tells an old one."""

    kind = models.CharField(max_length=8)  # traveler, setup
    job = models.ForeignKey(
        "shopfloor.Job", on_delete=models.PROTECT, null=True, blank=True, related_name="papers"
    )
    nest = models.ForeignKey(
        "shopfloor.Nest", on_delete=models.PROTECT, null=True, blank=True, related_name="papers"
    )
    table = models.ForeignKey(
        "shopfloor.Table", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    number = models.PositiveIntegerField()
    said_sha256 = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="traveler_once_a_job"),
            models.UniqueConstraint(fields=["nest", "number"], name="setup_once_a_nest"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.number}"
