"""Writes what the demo's simulation did: runs, segments, stoppages, results, pieces, checks."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from functools import cache
from random import Random
from typing import Any

from planning.calc.quality import u_range
from shopfloor.demo import cast
from shopfloor.demo.catalogue import DESIGNS, program_of
from shopfloor.demo.chart import SETS
from shopfloor.demo.orders import Written, read
from shopfloor.demo.rows import FitRow, History, PieceRow, RunRow
from shopfloor.models import (
    BenchEntry,
    Check,
    Fitting,
    Heat,
    Inspection,
    Material,
    PartResult,
    Piece,
    QueueItem,
    Reason,
    Run,
    RunState,
    Segment,
    SetPart,
    Sheet,
    SheetState,
    Stoppage,
    Table,
    Torch,
    Tray,
    User,
    WearSet,
)

QUEUE_AT_MOST = 14
PLACES = ("rack A1", "rack A2", "rack B1", "rack B2", "rack C1")


def when(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


@cache
def bench_minutes(design: int) -> float:
    """The clean-up the demo's chart expects of one sheet."""
    per_m = next(demo for demo in SETS if demo.code == DESIGNS[design].set).bench_min_per_m
    return per_m * sum(contour.length_mm for contour in read(design).contours) / 1000


def _check(u_mm: float, design: int, **of: Any) -> Check:
    """A check as the terminal keeps it: judged where the drawing asks something of the edge."""
    asked = DESIGNS[design].u_range_asked
    reached = u_range(u_mm, DESIGNS[design].thickness_mm)
    passed = None if asked is None else reached is not None and reached <= asked
    return Check(measured={"u_mm": u_mm}, u_mm=u_mm, u_range=reached, passed=passed, **of)


def _incident(stay: FitRow) -> uuid.UUID:
    """Pieces of a torch that failed at one moment failed together."""
    return uuid.uuid5(uuid.NAMESPACE_OID, f"{stay.table} {stay.removed}")


class Writer:
    """Holds the rows that others point at while the history is written."""

    def __init__(self, written: dict[tuple[int, int], Written], random: Random) -> None:
        self.written = written
        self.random = random
        self.users = {user.username: user for user in User.objects.all()}
        self.tables = {table.code: table for table in Table.objects.all()}
        self.torches = {torch.table.code: torch for torch in Torch.objects.select_related("table")}
        self.sets = {wear_set.code: wear_set for wear_set in WearSet.objects.all()}
        self.reasons: dict[str, Reason | None] = {r.code: r for r in Reason.objects.all()}
        self.reasons[""] = None
        self.materials = {material.code: material for material in Material.objects.all()}
        self.heats: dict[str, Heat] = {}
        self.runs: dict[int, Run] = {}

    def write(self, history: History) -> None:
        kept = [run for run in history.runs if not run.forgotten]
        self._sheets_and_runs(kept)
        self._segments(kept)
        self._results(kept)
        self._stoppages(history)
        self._pieces(history.pieces)

    def queue(self, history: History) -> None:
        """What is still to be cut, in the order the tables would take it."""
        for code, table in self.tables.items():
            open_run = next(
                (r for r in history.runs if r.closed is None and r.lot.table == code), None
            )
            lots = [lot for lot in history.lots if lot.table == code]
            position = 0
            if open_run and not open_run.forgotten:
                run = self.runs[id(open_run)]
                item = QueueItem.objects.create(
                    nest=run.revision.nest,
                    table=table,
                    sheet=run.sheet,
                    position=1,
                    state="running",
                )
                Run.objects.filter(pk=run.pk).update(queue_item=item)
                position = 1
            for lot in lots:
                key = (lot.order.number, lot.position)
                if key not in self.written:
                    continue
                for _ in range(min(lot.sheets - lot.done, 3)):
                    if position >= QUEUE_AT_MOST:
                        break
                    position += 1
                    nest = self.written[key].revision.nest
                    sheet = self._sheet(lot.design, f"W{position}-{code[0].upper()}")
                    sheet.save()
                    QueueItem.objects.create(nest=nest, table=table, sheet=sheet, position=position)

    def _sheets_and_runs(self, runs: list[RunRow]) -> None:
        sheets, rows = [], []
        for number, run in enumerate(runs, 1):
            sheet = self._sheet(run.lot.design, str(number))
            sheet.state = SheetState.CUT if run.closed else SheetState.ON_TABLE
            sheet.received_at = when(run.opened - 86400 * 3)
            sheets.append(sheet)
            row = Run(
                id=uuid.UUID(int=self.random.getrandbits(128), version=4),
                revision=self.written[run.lot.order.number, run.lot.position].revision,
                sheet=sheet,
                table=self.tables[run.lot.table],
                state=RunState.FINISHED if run.closed else RunState.OPEN,
                opened_at=when(run.opened),
                closed_at=when(run.closed) if run.closed else None,
            )
            rows.append(row)
            self.runs[id(run)] = row
        Sheet.objects.bulk_create(sheets)
        Run.objects.bulk_create(rows)

    def _sheet(self, design_index: int, number: str) -> Sheet:
        design = DESIGNS[design_index]
        length, width = design.sheet
        if design.material not in self.heats or self.random.random() < 0.03:
            letters = f"{self.random.randint(2, 9)}{self.random.choice('BCDFGH')}"
            self.heats[design.material], _ = Heat.objects.get_or_create(
                number=f"{letters}-{self.random.randint(1000, 9999)}",
                material=self.materials[design.material],
            )
        material = self.materials[design.material]
        kilos = length * width * design.thickness_mm * material.density_kg_m3 / 1e9
        return Sheet(
            code=f"S-{number.zfill(4)}",
            material=material,
            thickness_mm=design.thickness_mm,
            thickness_text=design.thickness_text,
            length_mm=length,
            width_mm=width,
            area_mm2=length * width,
            heat=self.heats[design.material],
            cost_minor=round(kilos * cast.PRICE_PER_KG[design.material] * 100),
            place=self.random.choice(PLACES),
            received_at=datetime.now(UTC),
        )

    def _segments(self, runs: list[RunRow]) -> None:
        Segment.objects.bulk_create(
            Segment(
                run=self.runs[id(run)],
                torch=self.torches[run.lot.table],
                wear_set=self.sets[DESIGNS[run.lot.design].set],
                operator=self.users[segment.operator],
                started_at=when(segment.started),
                ended_at=when(segment.ended) if segment.ended else None,
                first_contour=segment.first,
                last_contour=segment.last,
                end_reason=segment.reason,
            )
            for run in runs
            for segment in run.segments
        )

    def _results(self, runs: list[RunRow]) -> None:
        results, checks, bench = [], [], []
        for run in runs:
            if run.closed is None:
                continue
            row, by = self.runs[id(run)], self.users[run.segments[-1].operator]
            results += self._judged(run, row, by)
            if run.check_u is not None:
                at = when(run.opened + 0.3 * (run.closed - run.opened))
                checks.append(_check(run.check_u, run.lot.design, run=row, at=at, by=by))
            if self.random.random() < 0.9:
                bench.append(self._bench(run, by))
        PartResult.objects.bulk_create(results)
        Check.objects.bulk_create(checks)
        BenchEntry.objects.bulk_create(bench)

    def _judged(self, run: RunRow, row: Run, by: User) -> list[PartResult]:
        program = program_of(run.lot.design)
        lines = self.written[run.lot.order.number, run.lot.position].lines
        spoilt = {
            (program.placed[number - 1].part, program.placed[number - 1].copy): (number, cause)
            for number, cause in run.scrap
        }
        at = when(run.closed or run.opened)
        common: dict[str, Any] = {"run": row, "by": by, "at": at}
        judged = []
        for index, line in enumerate(lines):
            scrap = [found for (part, _copy), found in spoilt.items() if part == index]
            good = program.copies[index] - len(scrap)
            judged.append(PartResult(line=line, outcome="good", quantity=good, **common))
            judged += [
                PartResult(
                    line=line, outcome="scrap", quantity=1, contour_number=n, cause=cause, **common
                )
                for n, cause in scrap
            ]
        return judged

    def _bench(self, run: RunRow, by: User) -> BenchEntry:
        lines = self.written[run.lot.order.number, run.lot.position].lines
        minutes = bench_minutes(run.lot.design) * self.random.lognormvariate(0.06, 0.3)
        return BenchEntry(
            line=lines[0],
            kind=self.random.choice(("dross", "edge")),
            minutes=round(minutes, 1),
            at=when((run.closed or run.opened) + 1200),
            by=by,
        )

    def _stoppages(self, history: History) -> None:
        Stoppage.objects.bulk_create(
            Stoppage(
                table=self.tables[stop.table],
                run=self.runs.get(id(stop.run)) if stop.run else None,
                reason=self.reasons[stop.reason],
                started_at=when(stop.started),
                ended_at=when(stop.ended),
                by=self.users[stop.by] if stop.reason else None,
            )
            for stop in history.stops
        )

    def _trays(self, pieces: list[PieceRow], rows: dict[str, Piece]) -> None:
        """What is in a torch or half used lies on the tray of its table and set."""
        trays: dict[str, Tray] = {}
        for piece in pieces:
            if piece.state in ("fitted", "shelved"):
                label = f"T-{piece.set}-{piece.fits[-1].table[0].upper()}"
                if label not in trays:
                    trays[label] = Tray.objects.create(label=label, wear_set=self.sets[piece.set])
                rows[piece.label].tray = trays[label]

    def _pieces(self, pieces: list[PieceRow]) -> None:
        parts = {(p.wear_set.code, p.kind): p for p in SetPart.objects.select_related("wear_set")}
        rows = {}
        for piece in pieces:
            part = parts[piece.set, piece.kind]
            rows[piece.label] = Piece(
                label=piece.label,
                part=part,
                state=piece.state,
                price_minor=part.price_minor,
                rated_starts=part.rated_starts,
            )
        self._trays(pieces, rows)
        Piece.objects.bulk_create(rows.values())
        Fitting.objects.bulk_create(
            Fitting(
                piece=rows[piece.label],
                torch=self.torches[stay.table],
                fitted_at=when(stay.fitted),
                removed_at=when(stay.removed) if stay.removed else None,
                fitted_by=self.users[stay.by],
                removed_by=self.users[stay.by] if stay.removed else None,
                removal_state=stay.state,
                removal_reason=stay.reason,
                incident=_incident(stay) if stay.state == "failed" else None,
            )
            for piece in pieces
            for stay in piece.fits
        )
        Inspection.objects.bulk_create(
            Inspection(piece=rows[piece.label], at=when(at), by=self.users[by], pit_mm=pit)
            for piece in pieces
            for at, pit, by in piece.seen
        )
