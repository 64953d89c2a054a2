"""The shop, its tables and torches, shifts and reasons."""

from __future__ import annotations

from typing import Final

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.people.models import Units

FLOOR_PAGES: Final = {"away", "help", "register"}  # /floor/CODE/ is a table's, but for these


class Shop(models.Model):
    """One row. `currency_digits` is how many digits the minor unit has (cents: 2)."""

    name = models.CharField(max_length=120)
    address = models.CharField(max_length=300, blank=True)  # as on letters, lines and all
    contact = models.CharField(max_length=200, blank=True)  # telephone, mail, registration
    zone = models.CharField(max_length=64, default="America/Chicago")
    units = models.CharField(max_length=8, default=Units.METRIC)  # what new people read in
    currency = models.CharField(max_length=3, default="USD")
    currency_digits = models.PositiveSmallIntegerField(default=2)
    ask_reason_after_s = models.PositiveIntegerField(default=300)
    run_gap_s = models.PositiveIntegerField(default=900)
    remnant_min_mm2 = models.PositiveBigIntegerField(default=250_000)
    remnant_factor = models.FloatField(default=0.5)
    remnant_days = models.PositiveSmallIntegerField(default=180)  # then it may be written off
    scrap_minor_kg = models.BigIntegerField(null=True, blank=True)  # blank: scrap is worth nothing
    pit_limit_mm = models.FloatField(default=1.6)
    # What a wear part's failure costs, until the shop's own failures say: parts spoilt, time lost.
    failure_cut_minor = models.BigIntegerField(null=True, blank=True)
    failure_lost_min = models.FloatField(null=True, blank=True)
    # Days that the journal of what tables sent is kept; blank: for ever. See `telemetry.thinning`.
    journal_days = models.PositiveSmallIntegerField(null=True, blank=True)
    # Whose public holidays are offered as closed days: ISO 3166-1, and 3166-2 without the country.
    country = models.CharField(max_length=2, blank=True)
    region = models.CharField(max_length=8, blank=True)
    is_demo = models.BooleanField(default=False)

    def __str__(self) -> str:
        return self.name


class Table(models.Model):
    """A cutting table. Its motion figures time the plan."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    accel_mm_s2 = models.FloatField(default=500.0)
    rapid_mm_min = models.FloatField(default=15_000.0)
    corner = models.CharField(max_length=5, blank=True)  # stop, blend; blank: the program decides
    corner_tolerance_mm = models.FloatField(default=0.1)
    # Limits of each axis, of jerk and of the control's reading; blank: none beside the path's.
    accel_x_mm_s2 = models.FloatField(null=True, blank=True)
    accel_y_mm_s2 = models.FloatField(null=True, blank=True)
    speed_x_mm_min = models.FloatField(null=True, blank=True)
    speed_y_mm_min = models.FloatField(null=True, blank=True)
    jerk_mm_s3 = models.FloatField(null=True, blank=True)
    blocks_per_s = models.FloatField(null=True, blank=True)
    torch_on = models.CharField(max_length=20, default="M3")
    torch_off = models.CharField(max_length=20, default="M5")
    dialect = models.JSONField(default=dict)
    touch_off_s = models.FloatField(null=True, blank=True)  # blank: the chart row's
    lift_s = models.FloatField(default=0.0)  # after each cut
    settle_s = models.FloatField(default=0.0)  # of the height control, after each pierce
    mark_speed_mm_min = models.FloatField(null=True, blank=True)  # blank: the program's F
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
            raise ValidationError(
                {"code": _("{code!r} is a page of the floor’s own.").format(code=self.code)}
            )


class Torch(models.Model):
    table = models.ForeignKey(Table, on_delete=models.PROTECT, related_name="torches")
    code = models.CharField(max_length=20, default="1")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["table", "code"], name="torch_once_a_table")]

    def __str__(self) -> str:
        return f"{self.table.name} torch {self.code}"


class Shift(models.Model):
    """A shift starts at a wall time and belongs to its start date. Breaks are a list of
    `[start "HH:MM", minutes, label]` in wall time. `tables` are the codes of those somebody is
    scheduled for; none named: all. An `added` one is overtime on the one day it is valid, which a
    closed day does not take away."""

    name = models.CharField(max_length=40)
    start = models.TimeField()
    end = models.TimeField()
    weekdays = models.CharField(max_length=7, default="12345")  # ISO weekday digits of the start
    breaks = models.JSONField(default=list)
    tables = models.JSONField(default=list, blank=True)
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)
    added = models.BooleanField(default=False)

    class Meta:
        ordering = ["start"]

    def __str__(self) -> str:
        return self.name


class ClosedDay(models.Model):
    """A date on which no regular shift begins. Only days to come are closed or opened again, so
    that past days keep the calendar they had."""

    day = models.DateField(unique=True)
    why = models.CharField(max_length=80)

    class Meta:
        ordering = ["day"]

    def __str__(self) -> str:
        return f"{self.day} {self.why}"


class AwayReason(models.TextChoices):
    """Why somebody is missing."""

    SICK = "sick", _lazy("ill")
    HOLIDAY = "holiday", _lazy("on holiday")
    COURSE = "course", _lazy("on a course")
    ELSEWHERE = "elsewhere", _lazy("needed elsewhere")
    OTHER = "other", _lazy("another reason")


class Absence(models.Model):
    """A person who is missing on the start dates of shifts from `first` to `last`, and who would
    be at `tables` (codes) in the shifts of the name `shift` (blank: in all). Without a stand-in
    nobody is at those tables then. Only days to come change, so that past days keep the calendar
    they had."""

    person = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="absences")
    first = models.DateField()
    last = models.DateField(db_index=True)
    reason = models.CharField(max_length=12, choices=AwayReason)
    tables = models.JSONField(default=list)
    shift = models.CharField(max_length=40, blank=True)
    stand_in = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["first", "pk"]

    def __str__(self) -> str:
        return f"{self.person_id} {self.first} {self.last}"


class TableDown(models.Model):
    """Time in which a table cannot cut. A `planned` one (upkeep) is no time it should have cut in;
    a breakdown counts against its availability."""

    table = models.ForeignKey(Table, on_delete=models.PROTECT, related_name="downs")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(db_index=True)
    planned = models.BooleanField(default=False)
    why = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["started_at"]

    def __str__(self) -> str:
        return f"{self.table.name} {self.started_at}"


class ReasonKind(models.TextChoices):
    """What the books make of a stop: a crash is charged apart, a set change is set-up time."""

    STOPPAGE = "stoppage", _lazy("a stoppage")
    PLANNED = "planned", _lazy("planned: a break, a handover")
    CHANGE = "change", _lazy("planned: a set change")
    CRASH = "crash", _lazy("a torch crash")


class Reason(models.Model):
    """Why a table stood still. `planned` ones (break, set change) are not held against anyone."""

    code = models.SlugField(max_length=40, unique=True)
    label = models.CharField(max_length=60)
    kind = models.CharField(max_length=10, choices=ReasonKind, default=ReasonKind.STOPPAGE)
    planned = models.BooleanField(default=False)
    order = models.PositiveSmallIntegerField(default=100)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["order", "label"]

    def __str__(self) -> str:
        return self.label
