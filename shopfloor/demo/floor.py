"""Writes what the demo's simulation did: runs, segments, stoppages, results, pieces, checks."""

from __future__ import annotations

import uuid
from collections import defaultdict
from datetime import UTC, datetime, timedelta
from functools import cache
from random import Random
from typing import Any

from planning.calc.quality import u_range
from shopfloor.demo.catalogue import DESIGNS, program_of
from shopfloor.demo.chart import SETS
from shopfloor.demo.orders import Written, read, sheet_s
from shopfloor.demo.plate import Plate
from shopfloor.demo.rows import FitRow, History, PieceRow, RunRow
from shopfloor.models import (
    BenchEntry,
    Check,
    Fitting,
    Inspection,
    JobLine,
    PartResult,
    Piece,
    QueueItem,
    Reason,
    Run,
    RunState,
    Segment,
    SetPart,
    SheetState,
    Stoppage,
    Table,
    Torch,
    Tray,
    User,
    WearSet,
)

QUEUE_AT_MOST = 14
REAM_MIN = 6.0  # a part
SHIFT_SHARE = 0.9  # of what is left of the shift is planned full


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
    """Pieces of a torch that came out at one moment came out together."""
    return uuid.uuid5(uuid.NAMESPACE_OID, f"{stay.table} {stay.removed}")


class Writer:
    """Holds the rows that others point at while the history is written."""

    def __init__(
        self, written: dict[tuple[int, int], Written], random: Random, now: datetime
    ) -> None:
        self.written = written
        self.now = now
        self.random = random
        self.users = {user.username: user for user in User.objects.all()}
        self.tables = {table.code: table for table in Table.objects.all()}
        self.torches = {torch.table.code: torch for torch in Torch.objects.select_related("table")}
        self.sets = {wear_set.code: wear_set for wear_set in WearSet.objects.all()}
        self.reasons: dict[str, Reason | None] = {r.code: r for r in Reason.objects.all()}
        self.reasons[""] = None
        self.plate = Plate(random)
        self.runs: dict[int, Run] = {}

    def write(self, history: History) -> None:
        kept = [run for run in history.runs if not run.forgotten]
        self._sheets_and_runs(kept)
        self._segments(kept)
        self._results(kept)
        self._stoppages(history)
        self._pieces(history.pieces)

    def queue(self, history: History) -> None:
        """What is still to be cut, in the order the tables would take it: as much as fits into
        what is left of the shift, and one sheet at least."""
        for code, table in self.tables.items():
            open_run = next(
                (r for r in history.runs if r.closed is None and r.lot.table == code), None
            )
            lots = [lot for lot in history.lots if lot.table == code]
            position = 0
            room_s = SHIFT_SHARE * (history.shift_ends[code] - self.now.timestamp())
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
                room_s -= sheet_s(code, open_run.lot.design) / 2
            for lot in lots:
                key = (lot.order.number, lot.position)
                if key not in self.written:
                    continue
                for _ in range(lot.sheets - lot.done):
                    full = room_s < sheet_s(code, lot.design) and position > (open_run is not None)
                    if full or position >= QUEUE_AT_MOST:
                        break
                    position += 1
                    room_s -= sheet_s(code, lot.design)
                    nest = self.written[key].revision.nest
                    sheet = self.plate.sheet(lot, f"W{position}-{code[0].upper()}", self.now)
                    self.plate.save()
                    QueueItem.objects.create(nest=nest, table=table, sheet=sheet, position=position)

    def _sheets_and_runs(self, runs: list[RunRow]) -> None:
        rows = []
        for number, run in enumerate(runs, 1):
            sheet = self.plate.sheet(run.lot, str(number), when(run.opened))
            sheet.state = SheetState.ON_TABLE
            if run.closed:
                self.plate.cut(sheet, run.lot.design, when(run.closed))
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
        self.plate.save()
        Run.objects.bulk_create(rows)

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
            if run.rework:
                bench.append(self._reamed(run, by))
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
            tight = run.rework if index == 0 else 0
            good = program.copies[index] - len(scrap) - tight
            judged.append(PartResult(line=line, outcome="good", quantity=good, **common))
            if tight:
                judged += self._reworked(line, tight, common)
            judged += [
                PartResult(
                    line=line, outcome="scrap", quantity=1, contour_number=n, cause=cause, **common
                )
                for n, cause in scrap
            ]
        return judged

    def _reworked(self, line: JobLine, count: int, common: dict[str, Any]) -> list[PartResult]:
        """Parts set aside for rework; those of some days ago have been reamed and are good."""
        found = [(common["at"], "rework", count)]
        done = common["at"] + timedelta(days=1)
        if done < self.now - timedelta(days=1):
            found += [(done, "rework", -count), (done, "good", count)]
        return [
            PartResult(
                line=line, outcome=outcome, quantity=quantity,
                cause="size" if outcome == "rework" else "", **{**common, "at": at},
            )
            for at, outcome, quantity in found
        ]  # fmt: skip

    def _reamed(self, run: RunRow, by: User) -> BenchEntry:
        line = self.written[run.lot.order.number, run.lot.position].lines[0]
        at = min(when((run.closed or run.opened) + 80_000), self.now)
        minutes = round(run.rework * REAM_MIN * self.random.lognormvariate(0, 0.2), 1)
        return BenchEntry(line=line, kind="holes", minutes=minutes, at=at, by=by)

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
        together: dict[str, set[float | None]] = defaultdict(set)
        for stay in (stay for piece in pieces for stay in piece.fits):
            if stay.state in ("failed", "crashed"):
                together[stay.table].add(stay.removed)
        Fitting.objects.bulk_create(
            Fitting(
                piece=rows[piece.label],
                torch=self.torches[stay.table],
                fitted_at=when(stay.fitted),
                removed_at=when(stay.removed) if stay.removed else None,
                fitted_by=self.users[stay.by],
                removed_by=self.users[stay.by] if stay.removed else None,
                removal_state=stay.state,
                removal_cause=stay.cause,
                collateral=stay.state == "retired" and stay.removed in together[stay.table],
                incident=_incident(stay) if stay.removed in together[stay.table] else None,
            )
            for piece in pieces
            for stay in piece.fits
        )
        Inspection.objects.bulk_create(
            Inspection(piece=rows[piece.label], at=when(at), by=self.users[by], pit_mm=pit)
            for piece in pieces
            for at, pit, by in piece.seen
        )
