"""A small shop to stand in front of: one table with a set in its torch, a queue of three nests,
sheets with heats, trays. Everything invented; the figures are fillers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.utils import timezone

from shopfloor.models import (
    Action,
    ArcAssignment,
    Contour,
    Customer,
    Fitting,
    Heat,
    Job,
    JobLine,
    Material,
    Nest,
    NestPlan,
    NestRevision,
    Piece,
    PieceOutlook,
    QueueItem,
    Reason,
    Run,
    SetPart,
    Sheet,
    Table,
    Torch,
    Tray,
    User,
    WearSet,
)
from telemetry.models import Arc, Feed

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
KINDS = ("electrode", "nozzle", "shield", "swirl_ring", "retaining_cap")
REASONS = (
    ("crane", "Crane busy", False),
    ("no-sheet", "No sheet", False),
    ("torch", "Torch trouble", False),
    ("change", "Part change", True),
    ("slag", "Clearing slag", False),
    ("program", "Program", False),
    ("power", "Power or gas", False),
    ("elsewhere", "Helping elsewhere", False),
    ("other", "Something else", False),
)


@dataclass
class Floor:
    table: Table
    fast: WearSet
    fine: WearSet
    job: Job
    line: JobLine
    items: list[QueueItem]
    feed: Feed

    @property
    def revision(self) -> NestRevision:
        return self.items[0].nest.revisions.get()


def floor(table: Table, planner: User) -> Floor:
    fast = wear_set("fast 120", "fast", 120, planner, table, fitted=True)
    fine = wear_set("fine 45", "fine", 45, planner, table, fitted=False)
    steel = Material.objects.create(code="s355", name="S355", density_kg_m3=7850)
    stainless = Material.objects.create(
        code="304", name="304", density_kg_m3=8000, caution="chromium"
    )
    for order, (code, label, planned) in enumerate(REASONS):
        Reason.objects.create(code=code, label=label, planned=planned, order=order)
    job, line = ordered("K-2284", "base plate", 36, steel)
    _, other = ordered("K-2297", "bracket", 12, stainless)
    items = []
    for position, (name, made_for, metal, wear) in enumerate(
        (
            ("K-2284-1", line, steel, fast),
            ("K-2284-2", line, steel, fast),
            ("K-2297-1", other, stainless, fine),
        ),
        start=1,
    ):
        made = nest(name, made_for, metal, wear, table, planner)
        items.append(
            QueueItem.objects.create(
                nest=made, table=table, position=position, sheet=sheet(position, metal)
            )
        )
    sheet(9, steel)
    feed = Feed.objects.create(name="north-wire", table=table.code, kind="push", created_us=0)
    return Floor(table, fast, fine, job, line, items, feed)


def second_torch(made: Floor, by: User) -> Torch:
    """A torch beside the first, with the fine set in it."""
    torch = Torch.objects.create(table=made.table, code="2")
    for kind in KINDS:
        part = SetPart.objects.get(wear_set=made.fine, kind=kind)
        inside = Piece.objects.create(label=f"F2-{kind[:2]}".upper(), part=part, price_minor=1)
        Piece.objects.filter(pk=inside.pk).update(state="fitted")
        begun = timezone.now() - timedelta(days=2)
        Fitting.objects.create(piece=inside, torch=torch, fitted_at=begun, fitted_by=by)
    return torch


def two_counts(made: Floor) -> Action:
    """A count that came late and says otherwise than the books."""
    run = Run.objects.latest("opened_at")
    now = timezone.now()
    parts = [{"line": made.line.pk, "good": 11, "scrap": 1, "rework": 0}]
    mine = {"run": str(run.pk), "by": "Dana Okell", "at": now.isoformat(), "parts": parts}
    return Action.objects.create(
        kind="finish",
        person=User.objects.get(username="dana"),
        device_at=now,
        received_at=now,
        at=now,
        state="conflict",
        result={
            "message": "Somebody else finished this sheet.",
            "mine": mine,
            "theirs": {**mine, "parts": []},
        },
    )


def queued(made: Floor, name: str, code: str) -> QueueItem:
    """One more sheet of a nest, behind all others."""
    return QueueItem.objects.create(
        nest=Nest.objects.get(name=name),
        table=made.table,
        position=QueueItem.objects.count() + 1,
        sheet=Sheet.objects.get(code=code),
    )


def listed_last(made: Floor, number: str, by: User) -> QueueItem:
    """A job of its own at the end of the list, with its nest and its sheet."""
    metal = made.line.material
    _, line = ordered(number, "rib", 12, metal)
    fresh = nest(f"{number}-1", line, metal, made.fast, made.table, by)
    position = QueueItem.objects.count() + 1
    return QueueItem.objects.create(
        nest=fresh, table=made.table, position=position, sheet=sheet(20 + position, metal)
    )


def wear_set(code: str, duty: str, amps: float, by: User, table: Table, *, fitted: bool) -> WearSet:
    made = WearSet.objects.create(code=code, duty=duty, current_a=amps)
    tray = Tray.objects.create(label=f"T-{duty}", wear_set=made)
    for kind in KINDS:
        part = SetPart.objects.create(
            wear_set=made, kind=kind, name=f"{kind} {code}", price_minor=98_765_43, in_drawer=6
        )
        inside = Piece.objects.create(
            label=f"{duty[:2].upper()}-{kind[:2]}-1".upper(),
            part=part,
            price_minor=98_765_43,
            state="fitted" if fitted else "new",
            tray=None if fitted else tray,
        )
        if fitted:
            Fitting.objects.create(
                piece=inside,
                torch=table.torches.get(),
                fitted_at=timezone.now() - timedelta(days=2),
                fitted_by=by,
            )
            PieceOutlook.objects.create(
                piece=inside, starts=164, starts_left=436, due="no", computed_at=timezone.now()
            )
            Piece.objects.create(
                label=f"{duty[:2].upper()}-{kind[:2]}-2".upper(),
                part=part,
                price_minor=98_765_43,
                tray=tray,
            )
    return made


def ordered(number: str, part: str, quantity: int, metal: Material) -> tuple[Job, JobLine]:
    customer, _ = Customer.objects.get_or_create(name="Hollow Fen Gates")
    job = Job.objects.create(
        number=number, customer=customer, title=f"{part}s", quote_minor=1_234_56
    )
    line = JobLine.objects.create(
        job=job,
        number=1,
        part=part,
        quantity=quantity,
        material=metal,
        thickness_mm=12.0,
        thickness_text="12 mm",
        u_range_asked=3,
    )
    return job, line


def sheet(number: int, metal: Material) -> Sheet:
    heat, _ = Heat.objects.get_or_create(number=f"4B-77{number:02d}", material=metal)
    return Sheet.objects.create(
        code=f"S-11{number:02d}",
        material=metal,
        thickness_mm=12.0,
        thickness_text="12 mm",
        length_mm=3000,
        width_mm=1500,
        area_mm2=4_500_000,
        heat=heat,
        cost_minor=45_678_91,
        place=f"rack B{number}",
        received_at=timezone.now() - timedelta(days=9),
    )


def nest(name: str, line: JobLine, metal: Material, wear: WearSet, table: Table, by: User) -> Nest:
    """Twelve plates on a 4 x 3 grid, each with one hole cut first: 24 contours."""
    made = Nest.objects.create(
        name=name,
        material=metal,
        thickness_mm=12.0,
        thickness_text="12 mm",
        wear_set=wear,
        table=table,
    )
    revision = NestRevision.objects.create(
        nest=made,
        revision=1,
        program=b"M30\n",
        file_name=f"{name.lower()}.nc",
        bytes_sha256=f"{name:0>64}"[:64],
        path_sha256=f"{name:0>64}"[:64],
        made_by=by,
    )
    for copy in range(1, 13):
        x, y = ((copy - 1) % 4) * 340 + 20, ((copy - 1) // 4) * 260 + 20
        ring = [
            [x + 150 + 40 * math.cos(a * math.pi / 8), y + 110 + 40 * math.sin(a * math.pi / 8)]
            for a in range(17)
        ]
        box = [[x, y], [x + 300, y], [x + 300, y + 220], [x, y + 220], [x, y]]
        for offset, (points, inner, cut) in enumerate(((ring, True, 251.0), (box, False, 1040.0))):
            Contour.objects.create(
                revision=revision,
                number=2 * copy - 1 + offset,
                line=line,
                part=line.part,
                copy=copy,
                inner=inner,
                cut_mm=cut,
                net_area_mm2=None if inner else 60_973.0,
                points=points,
            )
    NestPlan.objects.create(
        revision=revision,
        table=table,
        wear_set=wear,
        cut_s=900.0,
        total_s=1500.0,
        pierces=24,
        arcs_s=[12.0, 48.0] * 12,
        costs_minor={"machine": 76_543_21},
        computed_at=timezone.now(),
    )
    return made


def burn(made: Floor, run: Run, contours: range, *, ended_before_s: float = 0.0) -> None:
    """Inserts arcs as intake would and assigns them as matching would: 12 s holes and 48 s
    outlines, one after the other up to `ended_before_s` before now."""
    spans = [(number, 12.0 if number % 2 else 48.0) for number in contours]
    end = timezone.now() - timedelta(seconds=ended_before_s)
    at = end - timedelta(seconds=sum(seconds + 2 for _, seconds in spans))
    segment = run.segments.order_by("-started_at").first()
    for number, seconds in spans:
        on_us = (at - EPOCH) // timedelta(microseconds=1)
        key = f"{made.feed.name}|1|{on_us}"
        Arc.objects.create(
            key=key,
            feed=made.feed,
            table=made.table.code,
            torch="1",
            on_us=on_us,
            off_us=on_us + int(seconds * 1_000_000),
            ended="off",
            feed_version=1,
            changed_us=on_us,
        )
        ArcAssignment.objects.update_or_create(
            arc_key=key,
            defaults={"segment": segment, "contour_number": number, "at": timezone.now()},
        )
        at += timedelta(seconds=seconds + 2)
