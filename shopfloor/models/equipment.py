"""Tables, torches, sets of wear parts and the pieces that come and go in them."""

from __future__ import annotations

from typing import Final

from django.core.exceptions import ValidationError
from django.db import models

FLOOR_PAGES: Final = {"away", "help", "register"}  # /floor/CODE/ is a table's, but for these


class Table(models.Model):
    """A cutting table. Its motion figures time the plan."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    accel_mm_s2 = models.FloatField(default=500.0)
    rapid_mm_min = models.FloatField(default=15_000.0)
    corner = models.CharField(max_length=5, blank=True)  # stop, blend; blank: the program decides
    corner_tolerance_mm = models.FloatField(default=0.1)
    torch_on = models.CharField(max_length=20, default="M3")
    torch_off = models.CharField(max_length=20, default="M5")
    dialect = models.JSONField(default=dict)
    touch_off_s = models.FloatField(null=True, blank=True)  # blank: the chart row's
    load_s = models.FloatField(default=300.0)
    unload_s = models.FloatField(default=300.0)
    change_s = models.FloatField(default=720.0)
    figures_at = models.DateTimeField(null=True, blank=True)  # last change of what plans rest on
    active = models.BooleanField(default=True)
    order = models.PositiveSmallIntegerField(default=100)

    class Meta:
        ordering = ["order", "name"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """No new table hides behind a page of the floor: its screen could not be reached."""
        if self._state.adding and self.code in FLOOR_PAGES:
            raise ValidationError({"code": f"{self.code!r} is a page of the floor’s own."})


class Torch(models.Model):
    table = models.ForeignKey(Table, on_delete=models.PROTECT, related_name="torches")
    code = models.CharField(max_length=20, default="1")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["table", "code"], name="torch_once_a_table")]

    def __str__(self) -> str:
        return f"{self.table.name} torch {self.code}"


class Duty(models.TextChoices):
    FINE = "fine", "fine"
    FAST = "fast", "fast"


class WearSet(models.Model):
    """The wear parts that belong together for one current."""

    code = models.CharField(max_length=40, unique=True)
    duty = models.CharField(max_length=4)
    current_a = models.FloatField()
    gas = models.CharField(max_length=40, default="air")
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["current_a"]

    def __str__(self) -> str:
        return f"{self.duty} {self.current_a:g} A"


class PieceKind(models.TextChoices):
    ELECTRODE = "electrode", "electrode"
    NOZZLE = "nozzle", "nozzle"
    SHIELD = "shield", "shield"
    SWIRL_RING = "swirl_ring", "swirl ring"
    RETAINING_CAP = "retaining_cap", "retaining cap"


class SetPart(models.Model):
    """What a set takes of each kind, what it costs and how long its maker rates it (blank:
    unknown)."""

    wear_set = models.ForeignKey(WearSet, on_delete=models.PROTECT, related_name="parts")
    kind = models.CharField(max_length=16)
    name = models.CharField(max_length=80)
    price_minor = models.BigIntegerField()
    rated_starts = models.PositiveIntegerField(null=True, blank=True)
    pit_limit_mm = models.FloatField(null=True, blank=True)
    in_drawer = models.PositiveIntegerField(default=0)
    low_at = models.PositiveIntegerField(default=2)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["wear_set", "kind"], name="one_part_a_kind_a_set")
        ]

    def __str__(self) -> str:
        return self.name


class PieceState(models.TextChoices):
    NEW = "new", "new"
    FITTED = "fitted", "in a torch"
    SHELVED = "shelved", "in the drawer"
    FAILED = "failed", "failed"
    RETIRED = "retired", "taken out when due"
    CRASHED = "crashed", "crashed"
    LOST = "lost", "lost"


class Tray(models.Model):
    """Pieces carried and fitted together by one scan."""

    label = models.CharField(max_length=40, unique=True)
    wear_set = models.ForeignKey(WearSet, on_delete=models.PROTECT, related_name="trays")

    def __str__(self) -> str:
        return self.label


class Piece(models.Model):
    """One physical wear part with its own age. `prior_*` is its age when Kerfbook first saw it:
    0 for a new one, blank where nobody knows (then it takes no part in life estimates)."""

    label = models.CharField(max_length=40, unique=True)
    part = models.ForeignKey(SetPart, on_delete=models.PROTECT, related_name="pieces")
    tray = models.ForeignKey(
        Tray, on_delete=models.SET_NULL, null=True, blank=True, related_name="pieces"
    )
    state = models.CharField(max_length=10, default=PieceState.NEW)
    price_minor = models.BigIntegerField()
    rated_starts = models.PositiveIntegerField(null=True, blank=True)
    prior_starts = models.PositiveIntegerField(null=True, blank=True, default=0)
    prior_arc_s = models.FloatField(null=True, blank=True, default=0.0)
    made_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.label


class Fitting(models.Model):
    """A piece's stay in a torch."""

    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="fittings")
    torch = models.ForeignKey(Torch, on_delete=models.PROTECT, related_name="fittings")
    fitted_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)
    fitted_by = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="+")
    removed_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    removal_state = models.CharField(max_length=10, blank=True)
    removal_reason = models.CharField(max_length=40, blank=True)  # pit, out of round, nick, ...
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
    left_low = models.IntegerField(null=True, blank=True)  # the ends inspections allow
    left_high = models.IntegerField(null=True, blank=True)
    due = models.CharField(max_length=12, blank=True)  # due, soon, no, unknown
    basis = models.CharField(max_length=200, blank=True)
    basis_said = models.JSONField(default=dict, blank=True)  # `basis` with its lengths as numbers
    computed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"outlook of {self.piece_id}"
