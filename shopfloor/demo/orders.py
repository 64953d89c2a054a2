"""Writes the demo's jobs and nests, the programs read and planned by the same arithmetic as any."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from functools import cache
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from planning.calc.motion import TableMotion
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import READER_VERSION, Program, read_program
from planning.calc.said import stored
from shopfloor.demo import cast
from shopfloor.demo.catalogue import DESIGNS, Design, Order, program_of
from shopfloor.demo.chart import rows
from shopfloor.demo.rows import Expected, Lot
from shopfloor.models import (
    Contour,
    Customer,
    Job,
    JobLine,
    Material,
    Nest,
    NestRevision,
    Table,
    User,
    WearSet,
)
from shopfloor.nests.services import path_hash

SHEET_AROUND_S = 1150.0  # loading, unloading, and what a table waits for on an average sheet
SHARED = 0.5  # of the nests with several parts
GUEST_LINES = 200  # where the numbers of lines on somebody else's sheets begin
DUE = time(16)


@cache
def read(design: int) -> Program:
    return read_program(program_of(design).text.encode("ascii"))


@cache
def expected(table: str, design: int) -> Expected:
    """A design's plan on a table, as the simulation wants it."""
    want = DESIGNS[design]
    row = next(
        row
        for row in rows()
        if (row.set.code, row.material, row.thickness_mm)
        == (want.set, want.material, want.thickness_mm)
    )
    accel, rapid = next((a, r) for code, _n, a, r in cast.TABLES if code == table)
    plan = plan_program(
        read(design),
        TableMotion(accel_mm_s2=accel, rapid_mm_min=rapid),
        Cutting(row.speed_mm_min, row.pierce_delay_s, row.touch_off_s),
    )
    before = tuple(contour.travel_s + contour.touch_off_s for contour in plan.contours)
    return Expected(arcs_s=plan.arcs, pierce_s=row.pierce_delay_s, before_s=before)


def sheet_s(table: str, design: int) -> float:
    """What one sheet of a design takes on a table, loading and a wait for the crane included."""
    plan = expected(table, design)
    return sum(plan.arcs_s) + sum(plan.before_s) + SHEET_AROUND_S


def week_s(table: str) -> float:
    """The hours a table works in a week, breaks apart, in seconds."""
    worked = 0.0
    for shift in cast.SHIFTS:
        if table in shift.tables:
            hours = shift.end.hour - shift.start.hour
            minutes = 60 * hours + shift.end.minute - shift.start.minute
            minutes -= sum(length for _, length, _ in cast.BREAKS[shift.name])
            worked += 60.0 * minutes * len(shift.weekdays)
    return worked


def lots_of(orders: Iterable[Order], random: Random) -> list[Lot]:
    """Each nest of each order, given to the table that would be through with its own first. Some
    sheets carry parts of the order before too."""
    lots: list[Lot] = []
    weeks: dict[str, float] = {code: 0.0 for code, *_rest in cast.TABLES}
    before: Order | None = None
    for order in orders:
        for position, (design, sheets) in enumerate(order.designs):
            table = min(weeks, key=lambda code: weeks[code])
            weeks[table] += sheets * sheet_s(table, design) / week_s(table)
            lot = Lot(order, position, design, sheets, table)
            shared = len(DESIGNS[design].parts) > 1 and not order.own_plate
            if shared and before is not None and random.random() < SHARED:
                lot.guest = before
            lots.append(lot)
        before = order
    return lots


@dataclass
class Written:
    """The rows a lot became."""

    revision: NestRevision
    lines: list[JobLine]


def write(
    lots: Iterable[Lot], *, finished: dict[int, float], now: datetime, by: User, random: Random
) -> dict[tuple[int, int], Written]:
    """Jobs, lines, nests, revisions, contours. `finished` is when each order's last sheet was
    done or will be (epoch seconds), from which its promise date is invented. Keyed (order,
    position)."""
    lots = list(lots)
    jobs = _jobs(lots, finished, now, random)
    known: dict[str, Any] = {
        "materials": {material.code: material for material in Material.objects.all()},
        "sets": {wear_set.code: wear_set for wear_set in WearSet.objects.all()},
        "tables": {table.code: table for table in Table.objects.all()},
    }
    written = {}
    for lot in lots:
        job = jobs[lot.order.number]
        lines = _lines(job, lot, known, guest=jobs[lot.guest.number] if lot.guest else None)
        written[lot.order.number, lot.position] = Written(_nest(job, lot, lines, known, by), lines)
    return written


def _jobs(
    lots: list[Lot], finished: dict[int, float], now: datetime, random: Random
) -> dict[int, Job]:
    customers = {customer.name: customer for customer in Customer.objects.all()}
    zone = ZoneInfo(cast.demo_zone(now))
    jobs = {}
    for order in {lot.order.number: lot.order for lot in lots}.values():
        base = datetime.fromtimestamp(finished[order.number], UTC)
        slack = timedelta(hours=random.gauss(30, 20))
        jobs[order.number] = Job.objects.create(
            number=f"K-{order.number}",
            customer=customers[order.customer],
            title=order.title,
            due_at=_due(base + slack, zone),
            source="example",
        )
    return jobs


def _due(at: datetime, zone: ZoneInfo) -> datetime:
    """The end of that day's work, or of the Monday after a weekend."""
    day = at.astimezone(zone).date()
    day += timedelta(days=max(0, 7 - day.weekday()) if day.weekday() > 4 else 0)
    return datetime.combine(day, DUE, zone).astimezone(UTC)


def _lines(job: Job, lot: Lot, known: dict[str, Any], *, guest: Job | None = None) -> list[JobLine]:
    """One line for each part; the last is the guest's where there is one."""
    last = len(DESIGNS[lot.design].parts) - 1
    owners = [(guest if guest and index == last else job) for index in range(last + 1)]
    design = DESIGNS[lot.design]
    copies = program_of(lot.design).copies
    return [
        JobLine.objects.create(
            job=owners[index],
            number=10 * (lot.position * 4 + index + 1)
            + (0 if owners[index] is job else GUEST_LINES),
            part=f"{shape.name} {shape.width:g} x {shape.height:g}",
            quantity=copies[index] * lot.sheets,
            material=known["materials"][design.material],
            thickness_mm=design.thickness_mm,
            thickness_text=design.thickness_text,
            u_range_asked=design.u_range_asked,
            next_step=design.next_step,
        )
        for index, (shape, _count) in enumerate(design.parts)
    ]


def _nest(
    job: Job, lot: Lot, lines: list[JobLine], known: dict[str, Any], by: User
) -> NestRevision:
    design: Design = DESIGNS[lot.design]
    program = program_of(lot.design)
    data = program.text.encode("ascii")
    nest = Nest.objects.create(
        name=f"{job.number}-{lot.position + 1}",
        material=known["materials"][design.material],
        thickness_mm=design.thickness_mm,
        thickness_text=design.thickness_text,
        wear_set=known["sets"][design.set],
        table=known["tables"][lot.table],
        sheets_wanted=lot.sheets,
    )
    digest = hashlib.sha256(data).hexdigest()
    revision = NestRevision.objects.create(
        nest=nest,
        revision=1,
        program=data,
        file_name=f"{nest.name}.nc",
        bytes_sha256=digest,
        path_sha256=_path_hash(lot.design),
        step_mm=read(lot.design).moves.step_mm,
        reader=READER_VERSION,
        notes=[{"line": note.line, **stored(note.text)} for note in read(lot.design).notes],
        made_by=by,
    )
    Contour.objects.bulk_create(
        Contour(
            revision=revision,
            number=contour.number,
            line=lines[placed.part],
            part=lines[placed.part].part,
            copy=placed.copy,
            inner=placed.inner,
            closed=contour.closed,
            cut_mm=contour.length_mm,
            net_area_mm2=contour.net_area_mm2,
            pierces=contour.pierces,
            points=_points(lot.design, contour.number),
            lit_line=contour.line,
            lead_in_mm=contour.lead_in_mm,
            lead_out_mm=contour.lead_out_mm,
        )
        for contour, placed in zip(read(lot.design).contours, program.placed, strict=True)
    )
    return revision


@cache
def _path_hash(design: int) -> str:
    return path_hash(read(design))


@cache
def _points(design: int, number: int) -> list[list[float]]:
    contour = read(design).contours[number - 1]
    return [[round(float(x), 1), round(float(y), 1)] for x, y in contour.points]
