"""Writes the invented shop's standing records: people, tables, sets, chart, rates, materials."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from django.contrib.auth.hashers import make_password

from shopfloor.demo import cast
from shopfloor.demo.chart import NOTE, SETS, rows
from shopfloor.demo.trials import trials
from shopfloor.models import (
    ChartRow,
    Customer,
    Material,
    Month,
    Rate,
    Reason,
    SetPart,
    Shift,
    Shop,
    Table,
    Terminal,
    Torch,
    User,
    WearSet,
)
from shopfloor.people.roles import role_give
from shopfloor.site.services import PLANNED


def standing(*, begin: datetime, now: datetime, zone: str) -> None:
    """Everything that does not change from day to day. `begin` is when it comes into force."""
    today = str(now.astimezone(ZoneInfo(zone)).isoweekday())
    day = begin.date().replace(day=1)
    Shop.objects.create(name=cast.SHOP, zone=zone, is_demo=True, scrap_minor_kg=cast.SCRAP_MINOR_KG)
    _people()
    _tables()
    _shifts(day, today)
    _chart(begin)
    trials(now=now)
    _rates(day, now.date() - timedelta(days=cast.RATES_ROSE_DAYS))
    Customer.objects.bulk_create(Customer(name=name) for name in cast.CUSTOMERS)
    Reason.objects.bulk_create(
        Reason(code=code, label=label, kind=kind, planned=kind in PLANNED, order=order)
        for order, (code, label, kind) in enumerate(cast.REASONS)
    )
    Month.objects.get_or_create(first_day=day)


def _rates(day: date, rose: date) -> None:
    """What an hour costs, and what it came to cost since."""
    for kind, amount, later in cast.RATES:
        Rate.objects.create(kind=kind, amount_minor=amount, valid_from=day, note="example value")
        if later is not None and rose > day:
            Rate.objects.create(
                kind=kind, amount_minor=later, valid_from=rose, note="example value"
            )


@cache
def _hash(secret: str) -> str:
    return make_password(secret)


def _people() -> None:
    for person in cast.PEOPLE:
        user = User.objects.create(
            username=person.username,
            first_name=person.first,
            last_name=person.last,
            password=_hash(cast.PASSWORD),
            badge=person.badge,
            pin_hash=make_password(person.pin),
        )
        role_give(user=user, role=person.role)


def _tables() -> None:
    for order, (code, name, accel, rapid) in enumerate(cast.TABLES):
        table = Table.objects.create(
            code=code,
            name=name,
            accel_mm_s2=accel,
            rapid_mm_min=rapid,
            order=order,
            load_s=340,
            unload_s=300,
        )
        Torch.objects.create(table=table, code="1")
        Terminal.objects.create(code=code, name=f"{name} screen", table=table)


def _shifts(day: date, today: str) -> None:
    """The early shift also works on the weekday the demo is first opened, be it a Sunday."""
    for shift in cast.SHIFTS:
        more = today if shift.name == "early" and today not in shift.weekdays else ""
        Shift.objects.create(
            name=shift.name,
            start=shift.start,
            end=shift.end,
            weekdays=shift.weekdays + more,
            breaks=cast.BREAKS[shift.name],
            tables=list(shift.tables),
            valid_from=day,
        )


def _chart(begin: datetime) -> None:
    for code, name, family, density, caution in cast.MATERIALS:
        Material.objects.create(
            code=code, name=name, family=family, density_kg_m3=density, caution=caution
        )
    sets = {}
    for demo in SETS:
        sets[demo.code] = made = WearSet.objects.create(
            code=demo.code, duty=demo.duty, current_a=demo.current_a, gas="air"
        )
        for kind, price, rated in cast.PARTS[demo.code]:
            SetPart.objects.create(
                wear_set=made,
                kind=kind,
                name=f"{demo.code} {kind}",
                price_minor=price,
                rated_starts=rated,
                pit_limit_mm=1.6 if kind == "electrode" else None,
                in_drawer=6,
                lead_days=7,
                pack=1 if kind == "shield" else 5,
            )
    materials = {material.code: material for material in Material.objects.all()}
    ChartRow.objects.bulk_create(
        ChartRow(
            wear_set=sets[row.set.code],
            material=materials[row.material],
            thickness_mm=row.thickness_mm,
            thickness_text=f"{row.thickness_mm:g} mm",
            speed_mm_min=row.speed_mm_min,
            pierce_delay_s=row.pierce_delay_s,
            touch_off_s=row.touch_off_s,
            pierce_height_mm=row.pierce_height_mm,
            cut_height_mm=row.cut_height_mm,
            arc_v=row.set.arc_v,
            kerf_mm=row.kerf_mm,
            max_pierce_mm=row.set.max_pierce_mm,
            u_mm=row.u_mm,
            bench_min_per_m=row.set.bench_min_per_m,
            example=True,
            valid_from=begin,
            note=NOTE,
        )
        for row in rows()
    )
