"""What failures and planned changes of wear parts cost, from the shop's own records.

Time lost runs from the last arc before the change to the first after it, as far as the table was
staffed and up; between two runs, loading and unloading are not the change's. Beyond `LONGEST_S` it
stood for another reason too, and is not known.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Sum

from planning.calc.cost import RateBook, time_amount
from planning.calc.life.costs import Happened
from planning.calc.spans import shared_us
from planning.inputs.lives import given_of
from planning.inputs.rates import rate_book
from planning.inputs.shifts import ShiftBook
from shopfloor.models import Fitting, PartResult, PieceState, Posting, Run, RunState, Segment
from shopfloor.runs.arcs import to_us
from shopfloor.runs.parts import WORN
from telemetry.counted import counted
from telemetry.models import Arc

MOST = 60  # changes that are learned from, the newest
LONGEST_S = 4 * 3600.0  # our assumption
# Arcs are looked for so far either way: of a torch not heard before or since, all would be read.
AROUND_US = 30 * 86_400_000_000
MATES = {"electrode": "nozzle", "nozzle": "electrode"}
PART_COSTS = ("material", "credit", "machine", "labour", "gas", "energy")  # of a part that is cut


def failures(parts: Collection[int] | None = None) -> list[Happened]:
    """Failures by own wear, oldest first: of these parts, or of any. One an incident."""
    return _happened(_came_out(PieceState.FAILED, parts), failed=True)


def planned_changes(parts: Collection[int] | None = None) -> list[Happened]:
    """Pieces taken out when due, oldest first; those that only went with a failed one are none."""
    return _happened(_came_out(PieceState.RETIRED, parts), failed=False)


RELATED = ("torch__table", "piece__part", "piece__outlook")


def _came_out(state: str, parts: Collection[int] | None) -> list[Fitting]:
    rows = Fitting.objects.filter(removal_state=state, collateral=False, removed_at__isnull=False)
    if parts is not None:
        rows = rows.filter(piece__part__in=parts)
    return list(rows.select_related(*RELATED).order_by("-removed_at", "-pk")[:MOST])[::-1]


def _happened(rows: Sequence[Fitting], *, failed: bool) -> list[Happened]:
    ends = [row.removed_at for row in rows if row.removed_at is not None]
    if not ends:
        return []
    desk = _Desk(ShiftBook(min(ends), max(ends)), rate_book())
    worth = _partners(rows) if failed else {}
    found = []
    for row in rows:
        run = _run_at(row)
        lost_s = _lost_s(row, run, desk)
        partners, mate = worth.get(row.incident, (0.0, {})) if row.incident else (0.0, {})
        found.append(
            Happened(
                key=str(row.pk),
                at_us=to_us(_out_at(row)),
                partners=partners,
                cut=_spoilt(run) if failed and run is not None else 0.0,
                lost=desk.money(row, lost_s),
                lost_s=lost_s,
                mate=mate.get(MATES.get(row.piece.part.kind, ""), 0.0),
            )
        )
    return found


def _out_at(row: Fitting) -> datetime:
    """The rows asked for have come out."""
    return row.removed_at or row.fitted_at


@dataclass(frozen=True)
class _Desk:
    """Shifts and rates, read once."""

    shifts: ShiftBook
    rates: RateBook

    def money(self, row: Fitting, lost_s: float | None) -> float | None:
        """Machine and labour of that day; None where time or either rate is unknown."""
        if lost_s is None:
            return None
        day, table = self.shifts.date_of(to_us(_out_at(row))), row.torch.table_id
        rates = [self.rates.on(kind, day, table) for kind in ("machine", "labour")]
        known = [rate.amount_minor for rate in rates if rate is not None]
        return time_amount(round(lost_s * 1e6), sum(known)) if known else None


def _run_at(row: Fitting) -> Run | None:
    """The run that was on the torch when the piece came out."""
    segment = (
        Segment.objects.filter(torch=row.torch, started_at__lte=_out_at(row))
        .select_related("run")
        .only("ended_at", "run__state", "run__table", "run__opened_at", "run__closed_at")
        .order_by("-started_at")
        .first()
    )
    if segment is None or (segment.ended_at is not None and segment.ended_at < _out_at(row)):
        return None
    return segment.run


def _lost_s(row: Fitting, run: Run | None, desk: _Desk) -> float | None:
    at_us, table = to_us(_out_at(row)), row.torch.table
    arcs = counted(Arc.objects.filter(table=table.code, torch=row.torch.code))
    earlier = arcs.filter(on_us__lt=at_us, on_us__gte=at_us - AROUND_US).order_by("-on_us")
    later = arcs.filter(on_us__gte=at_us, on_us__lt=at_us + AROUND_US).order_by("on_us")
    before = earlier.values_list("on_us", "off_us").first()
    after = later.values_list("on_us", flat=True).first()
    if before is None or after is None:
        return None
    from_us = min(at_us, before[1] or before[0])
    lost_s = shared_us((from_us, after), desk.shifts.staffed_at(table.code)) / 1e6
    if lost_s > LONGEST_S:
        return None
    handled = 0.0 if run is not None else table.load_s + table.unload_s
    return max(0.0, lost_s - handled)


def _spoilt(run: Run) -> float | None:
    """What the parts that a failing piece spoilt had cost, as the books have the run: its cost for
    a line over the parts of it that were judged. Of several failures in a run each bears its share.
    None: the run is not finished, and its cost is not known yet."""
    rows = PartResult.objects.filter(run=run)
    bad = list(
        rows.filter(outcome="scrap", cause__in=WORN)
        .values_list("line")
        .annotate(n=Sum("quantity"))
        .order_by()
    )
    if run.state != RunState.FINISHED:
        return None
    if not bad:
        return 0.0
    lines = [line for line, _n in bad]
    made = dict(
        rows.filter(line__in=lines).values_list("line").annotate(n=Sum("quantity")).order_by()
    )
    paid = dict(
        Posting.objects.filter(run=run, line__in=lines, kind__in=PART_COSTS)
        .values_list("line")
        .annotate(sum=Sum("amount_minor"))
        .order_by()
    )
    if any(not made.get(line) or line not in paid for line in lines):
        return None
    here = Fitting.objects.filter(
        torch__table=run.table_id, removal_state=PieceState.FAILED, collateral=False,
        removed_at__gte=run.opened_at, removed_at__lte=run.closed_at,
    ).count()  # fmt: skip
    return float(sum(paid[line] / made[line] * n for line, n in bad if n > 0) / max(1, here))


Worth = tuple[float | None, dict[str, float]]


def _partners(rows: Sequence[Fitting]) -> dict[uuid.UUID, Worth]:
    """By incident, the unused worth of the pieces that went with the one that failed, and of each
    kind: price x the part of its life that was left. None: nobody knows what life it had."""
    incidents = {row.incident for row in rows if row.incident is not None}
    own = {row.pk for row in rows}
    others = [
        one
        for one in Fitting.objects.filter(incident__in=incidents)
        .exclude(removal_state=PieceState.SHELVED)  # it will burn again
        .select_related("piece__part", "piece__outlook")
        if one.pk not in own
    ]
    gives = given_of({one.piece.part_id for one in others})
    sums: dict[uuid.UUID, Worth] = {}
    kinds: dict[uuid.UUID, dict[str, float]] = defaultdict(dict)
    for one in others:
        if one.incident is None:
            continue
        given, rated = gives.get(one.piece.part_id), one.piece.part.rated_starts
        life = given.starts if given else rated
        outlook = getattr(one.piece, "outlook", None)
        total = sums.get(one.incident, (0.0, {}))[0]
        if total is None or life is None or outlook is None or outlook.starts is None:
            sums[one.incident] = (None, {})
            continue
        left = one.piece.price_minor * max(0.0, 1 - outlook.starts / life)
        kind = one.piece.part.kind
        kinds[one.incident][kind] = kinds[one.incident].get(kind, 0.0) + left
        sums[one.incident] = (total + left, kinds[one.incident])
    return sums
