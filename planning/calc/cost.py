"""What an hour, a metre, a kilowatt-hour and a crash cost. Money is integer minor units; an amount
is rounded once, half away from zero, when time or quantity becomes money."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from planning.calc.said import said

K = TypeVar("K", bound=Hashable)

HOUR_US = 3_600_000_000
# Our assumption where the shop gives none: of the power drawn, this much reaches the arc.
POWER_SUPPLY_EFFICIENCY = 0.9


def rounded(amount: Fraction | float | Decimal) -> int:
    """To whole minor units, half away from zero: the one rounding point."""
    exact = Fraction(amount)
    away = (abs(exact) + Fraction(1, 2)).__floor__()
    return away if exact >= 0 else -away


def time_amount(us: int, minor_per_hour: int) -> int:
    """What `us` microseconds cost at an hourly rate, in minor units."""
    return rounded(Fraction(us * minor_per_hour, HOUR_US))


@dataclass(frozen=True, slots=True)
class RateLine:
    kind: str
    table: int | None
    amount_minor: int
    valid_from: date


class RateBook:
    """All rates; `on` answers what holds on a day: the table's own if it has one, else the shop's.
    None is "unknown", which is not the same as free."""

    def __init__(self, lines: Iterable[RateLine]) -> None:
        self._lines: dict[tuple[str, int | None], list[RateLine]] = {}
        for line in sorted(lines, key=lambda line: line.valid_from):
            self._lines.setdefault((line.kind, line.table), []).append(line)

    def on(self, kind: str, day: date, table: int | None = None) -> RateLine | None:
        for owner in (table, None) if table is not None else (None,):
            valid = [ln for ln in self._lines.get((kind, owner), ()) if ln.valid_from <= day]
            if valid:
                return valid[-1]
        return None


def energy_kwh(
    volts: float, amps: float, arc_s: float, efficiency: float = POWER_SUPPLY_EFFICIENCY
) -> float:
    """kWh drawn from the mains: V x A x h / 1000 / efficiency (0 < efficiency <= 1).

    50 A at 120 V and 90 % draw 6.67 kW. Idle power and the compressor are not in it.
    """
    if not 0 < efficiency <= 1:
        raise ValueError(
            said("efficiency {efficiency} is not above 0 and at most 1", efficiency=efficiency)
        )
    return volts * amps * arc_s / 3600 / 1000 / efficiency


# What a plan costs is made of, material apart; without one of them the whole is unknown.
PLAN_KINDS = ("machine", "labour", "gas", "energy", "wear", "bench")


@dataclass(frozen=True, slots=True)
class MachineYear:
    """A machine's year, in one currency's whole units (Decimal), for `machine_hour_rate`."""

    hours: Decimal  # running hours a year
    replacement: Decimal
    life_years: Decimal
    purchase: Decimal
    interest: Decimal  # a year, as a fraction
    upkeep_per_year: Decimal
    power_kw: Decimal
    power_price: Decimal  # per kWh
    room_per_year: Decimal
    tools_per_hour: Decimal


def machine_hour_rate(year: MachineYear) -> dict[str, Decimal]:
    """What an hour of a machine costs, by part and as `total`, unrounded.

    Method of machine-hour costing in the tradition of VDI 3258: depreciation of the replacement
    value over its life, interest on half the purchase, upkeep, power, room and tools, each by the
    running hours. Raises ValueError where hours or life are not above 0.
    """
    if year.hours <= 0 or year.life_years <= 0:
        raise ValueError(said("running hours and life must be above 0"))
    parts = {
        "depreciation": year.replacement / year.life_years / year.hours,
        "interest": year.purchase / 2 * year.interest / year.hours,
        "upkeep": year.upkeep_per_year / year.hours,
        "power": year.power_kw * year.power_price,
        "room": year.room_per_year / year.hours,
        "tools": year.tools_per_hour,
    }
    return parts | {"total": sum(parts.values(), Decimal(0))}


def attended(
    stretches: Sequence[tuple[Hashable, K, int, int]],
) -> tuple[dict[K, int], dict[Hashable, int]]:
    """Attended microseconds by work, and presence by person.

    `stretches` are (person, work, from_us, to_us). A person with several stretches at once is
    split evenly between them, so that what is attended never exceeds their presence; left-over
    microseconds go to the earliest. Two stretches of one work at once count as one.
    """
    by_person: dict[Hashable, list[tuple[K, int, int]]] = {}
    for person, work, start, end in stretches:
        if end > start:
            by_person.setdefault(person, []).append((work, start, end))
    minutes: dict[K, int] = {}
    presence: dict[Hashable, int] = {}
    for person, own in by_person.items():
        own.sort(key=lambda stretch: stretch[1])
        edges = sorted({edge for _, start, end in own for edge in (start, end)})
        active: list[tuple[K, int, int]] = []
        begun = 0
        for left, right in pairwise(edges):
            while begun < len(own) and own[begun][1] <= left:
                active.append(own[begun])
                begun += 1
            active = [stretch for stretch in active if stretch[2] > left]
            at_once = list(dict.fromkeys(work for work, _, _ in active))
            if not at_once:
                continue
            presence[person] = presence.get(person, 0) + right - left
            each, over = divmod(right - left, len(at_once))
            for place, work in enumerate(at_once):
                minutes[work] = minutes.get(work, 0) + each + (place < over)
    return minutes, presence


def remnant_credit(
    sheet_minor: int, sheet_mm2: float, left_mm2: float, *, factor: float, least_mm2: float
) -> int:
    """Credit for what is left of a sheet: area share x cost x factor; 0 below the least area."""
    if left_mm2 < least_mm2 or sheet_mm2 <= 0:
        return 0
    return rounded(Fraction(left_mm2) / Fraction(sheet_mm2) * sheet_minor * Fraction(factor))


def remnant_value(
    sheet_minor: int,
    sheet_mm2: float,
    left_mm2: float,
    *,
    factor: float,
    least_mm2: float,
    left_kg: float,
    scrap_minor_kg: int | None,
) -> int:
    """What is left of a sheet is worth, minor units: `remnant_credit` from the least area up, below
    it its weight x what scrap brings a kg (0 where scrap brings nothing). Never above its share of
    what the sheet cost. Common practice, no source."""
    if left_mm2 >= least_mm2 or sheet_mm2 <= 0:
        return remnant_credit(sheet_minor, sheet_mm2, left_mm2, factor=factor, least_mm2=least_mm2)
    scrap = rounded(Fraction(left_kg) * (scrap_minor_kg or 0))
    return min(scrap, rounded(Fraction(left_mm2) / Fraction(sheet_mm2) * sheet_minor))
