"""The shop itself: its zone and rules, its shifts, its rates."""

from __future__ import annotations

from django.db import models

from shopfloor.models.people import Units


class Shop(models.Model):
    """One row. `currency_digits` is how many digits the minor unit has (cents: 2)."""

    name = models.CharField(max_length=120)
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
    # Days that the journal of what tables sent is kept; blank: for ever. See `telemetry.thinning`.
    journal_days = models.PositiveSmallIntegerField(null=True, blank=True)
    is_demo = models.BooleanField(default=False)

    def __str__(self) -> str:
        return self.name


class Shift(models.Model):
    """A shift starts at a wall time and belongs to its start date. Breaks are a list of
    `[start "HH:MM", minutes, label]` in wall time. `tables` are the codes of those somebody is
    scheduled for; none named: all."""

    name = models.CharField(max_length=40)
    start = models.TimeField()
    end = models.TimeField()
    weekdays = models.CharField(max_length=7, default="12345")  # ISO weekday digits of the start
    breaks = models.JSONField(default=list)
    tables = models.JSONField(default=list, blank=True)
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["start"]

    def __str__(self) -> str:
        return self.name


class RateKind(models.TextChoices):
    MACHINE = "machine", "machine, per hour"
    LABOUR = "labour", "operator, per hour"
    BENCH = "bench", "bench, per hour"
    GAS = "gas", "gas, per arc hour"
    ENERGY = "energy", "energy, per kWh"


class Rate(models.Model):
    """What an hour (or a kWh) costs from a date on, in minor units of the shop's currency."""

    kind = models.CharField(max_length=12)
    table = models.ForeignKey(
        "shopfloor.Table", on_delete=models.PROTECT, null=True, blank=True, related_name="rates"
    )
    amount_minor = models.BigIntegerField()
    valid_from = models.DateField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["kind", "valid_from"])]
        ordering = ["kind", "-valid_from"]

    def __str__(self) -> str:
        return f"{self.kind} from {self.valid_from}"


class Reason(models.Model):
    """Why a table stood still. `planned` ones (break, set change) are not held against anyone."""

    code = models.SlugField(max_length=40, unique=True)
    label = models.CharField(max_length=60)
    planned = models.BooleanField(default=False)
    order = models.PositiveSmallIntegerField(default=100)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["order", "label"]

    def __str__(self) -> str:
        return self.label
