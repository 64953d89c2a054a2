"""Wear parts and the air they burn in."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _lazy


class Tray(models.Model):
    """Pieces carried and fitted together by one scan."""

    label = models.CharField(max_length=40, unique=True)
    wear_set = models.ForeignKey(
        "shopfloor.WearSet", on_delete=models.PROTECT, related_name="trays"
    )

    def __str__(self) -> str:
        return self.label


class PieceState(models.TextChoices):
    NEW = "new", _lazy("new")
    FITTED = "fitted", _lazy("in a torch")
    SHELVED = "shelved", _lazy("in the drawer")
    FAILED = "failed", _lazy("failed")
    RETIRED = "retired", _lazy("taken out when due")
    CRASHED = "crashed", _lazy("crashed")
    LOST = "lost", _lazy("lost")


class FailureCause(models.TextChoices):
    """What ended a piece, as somebody saw it."""

    PIT = "pit", _lazy("pit")
    OUT_OF_ROUND = "out_of_round", _lazy("out of round")
    NICK = "nick", _lazy("nick")
    DOUBLE_ARC = "double_arc", _lazy("double arc")
    SPATTER = "spatter", _lazy("spatter")
    BLOCKED_HOLE = "blocked_hole", _lazy("blocked swirl hole")
    MOISTURE = "moisture", _lazy("moisture")
    CRASH = "crash", _lazy("crash")


class Piece(models.Model):
    """One physical wear part with its own age. `prior_*` is its age when Kerfbook first saw it:
    0 for a new one, blank where nobody knows (then it takes no part in life estimates)."""

    label = models.CharField(max_length=40, unique=True)
    part = models.ForeignKey("shopfloor.SetPart", on_delete=models.PROTECT, related_name="pieces")
    tray = models.ForeignKey(
        Tray, on_delete=models.SET_NULL, null=True, blank=True, related_name="pieces"
    )
    state = models.CharField(max_length=10, default=PieceState.NEW)
    price_minor = models.BigIntegerField()
    rated_starts = models.PositiveIntegerField(null=True, blank=True)
    prior_starts = models.PositiveIntegerField(null=True, blank=True, default=0)
    prior_arc_s = models.FloatField(null=True, blank=True, default=0.0)
    made_at = models.DateTimeField(auto_now_add=True)
    receipt = models.ForeignKey(
        "shopfloor.PartReceipt", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )  # what it was bought with, where that is known

    def __str__(self) -> str:
        return self.label


class PartOrder(models.Model):
    """Parts ordered and not all here yet. `ended_at` closes it before all came."""

    part = models.ForeignKey("shopfloor.SetPart", on_delete=models.PROTECT, related_name="orders")
    quantity = models.PositiveIntegerField()
    received = models.PositiveIntegerField(default=0)
    ordered_on = models.DateField()
    expected_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=120, blank=True)
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["expected_on", "pk"]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.part_id}, ordered {self.ordered_on}"


class PartReceipt(models.Model):
    """Parts that came at one price; `left` of them are still new in the drawer. The oldest go out
    first, each at the price it was bought at."""

    part = models.ForeignKey("shopfloor.SetPart", on_delete=models.PROTECT, related_name="receipts")
    quantity = models.PositiveIntegerField()
    left = models.PositiveIntegerField()
    price_minor = models.BigIntegerField()  # of one
    received_on = models.DateField()
    note = models.CharField(max_length=120, blank=True)
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["received_on", "pk"]
        indexes = [
            models.Index(fields=["part"], condition=models.Q(left__gt=0), name="receipt_left")
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.part_id}, {self.received_on}"


class Fitting(models.Model):
    """A piece's stay in a torch, and how it ended: what became of the piece (`removal_state`), what
    ended it (`removal_cause`), and whether it only went with another that failed (`collateral`).
    Pieces of one failure or crash share `incident`; one of them failed, the rest are collateral.
    `endings.life_end` says what that means for its life."""

    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="fittings")
    torch = models.ForeignKey("shopfloor.Torch", on_delete=models.PROTECT, related_name="fittings")
    fitted_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)
    fitted_by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    removed_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    removal_state = models.CharField(max_length=10, blank=True)
    removal_cause = models.CharField(max_length=12, blank=True)  # a FailureCause
    collateral = models.BooleanField(default=False)
    removal_reason = models.CharField(max_length=40, blank=True)  # in somebody's own words
    incident = models.UUIDField(null=True, blank=True)  # one incident may take several pieces
    action = models.ForeignKey(
        "shopfloor.Action", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        indexes = [
            models.Index(fields=["torch", "fitted_at"]),
            models.Index(fields=["removed_at"], name="fitting_removed"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["piece"], condition=models.Q(removed_at=None), name="piece_in_one_torch"
            )
        ]

    def __str__(self) -> str:
        return f"{self.piece_id} in {self.torch_id} from {self.fitted_at:%Y-%m-%d %H:%M}Z"


class Inspection(models.Model):
    """What a person saw when a piece was looked at."""

    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="inspections")
    at = models.DateTimeField()
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    pit_mm = models.FloatField(null=True, blank=True)
    orifice_round = models.BooleanField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    photo = models.FileField(upload_to="inspections/", blank=True)
    photo_sha256 = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["at"]

    def __str__(self) -> str:
        return f"{self.piece_id} at {self.at:%Y-%m-%d %H:%M}Z"


class PieceOutlook(models.Model):
    """Published by planning: a piece's age and what is left, with when and from what."""

    piece = models.OneToOneField(Piece, on_delete=models.CASCADE, related_name="outlook")
    starts = models.PositiveIntegerField(null=True, blank=True)
    arc_s = models.FloatField(null=True, blank=True)
    pit_mm = models.FloatField(null=True, blank=True)
    starts_left = models.IntegerField(null=True, blank=True)
    left_low = models.IntegerField(null=True, blank=True)  # 80 in 100 end between these
    left_high = models.IntegerField(null=True, blank=True)
    due = models.CharField(max_length=12, blank=True)  # due, soon, no, unknown
    basis = models.CharField(max_length=200, blank=True)
    basis_said = models.JSONField(default=dict, blank=True)  # `basis` with its lengths as numbers
    rests_on = models.JSONField(default=dict, blank=True)  # `basis` in numbers
    pits = models.JSONField(default=list, blank=True)  # [starts, arc seconds, mm] as measured
    computed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"outlook of {self.piece_id}"


class PieceUse(models.Model):
    """What one run took of one piece: its starts and arc time while the piece was in the torch.
    `weights` shares it between job lines: `{line id, or "" for the shop: weight}`."""

    run = models.ForeignKey("shopfloor.Run", on_delete=models.CASCADE, related_name="piece_uses")
    piece = models.ForeignKey("shopfloor.Piece", on_delete=models.CASCADE, related_name="uses")
    at = models.DateTimeField()  # of its first start in the run: the order in which it is charged
    starts = models.PositiveIntegerField()
    arc_s = models.FloatField()
    weights = models.JSONField(default=dict)
    evidence = models.CharField(max_length=10)
    known_starts = models.PositiveIntegerField(default=0)  # heard or entered; the others planned

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["run", "piece"], name="piece_use_once_a_run")
        ]

    def __str__(self) -> str:
        return f"{self.starts} starts of {self.piece_id} in {self.run_id}"


class AirReading(models.Model):
    """What somebody read off the air at a table: its pressure while it flows, and whether the
    water was drained then. Booked on the shift it was read in."""

    table = models.ForeignKey("shopfloor.Table", on_delete=models.PROTECT, related_name="air")
    at = models.DateTimeField()
    shift_date = models.DateField()
    shift = models.CharField(max_length=40, blank=True)  # blank: read outside any shift
    flowing_kpa = models.FloatField(null=True, blank=True)  # over the atmosphere's
    drained = models.BooleanField(null=True, blank=True)
    by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["shift_date"], name="air_shift_date")]

    def __str__(self) -> str:
        return f"air at {self.table_id}, {self.at:%Y-%m-%d %H:%M}Z"
