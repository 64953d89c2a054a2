"""Wear parts: their stays in torches and what they cost."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from planning.calc.life.outlook import Inspected
from planning.inputs.chunks import chunked
from shopfloor.models import Fitting, Inspection, Piece
from shopfloor.runs.arcs import to_us
from shopfloor.runs.silences import entries_of
from shopfloor.site.queries import the_shop
from telemetry.counted import counted
from telemetry.models import Arc

FOREVER_US = 2**62


@dataclass(frozen=True, slots=True)
class FittingIn:
    piece_id: int
    table_id: int
    table_code: str
    torch: str
    from_us: int
    to_us: int  # FOREVER_US while it is in

    def holds(self, at_us: int) -> bool:
        return self.from_us <= at_us < self.to_us


@dataclass(frozen=True)
class PieceIn:
    """`arcs` and `arc_us` are all of its fittings' starts, heard or entered, whatever run they
    belong to, prior age apart; None where its torches have no source. `inspections` oldest first,
    with the starts counted up to each."""

    pk: int
    part_id: int
    label: str
    kind: str
    price_minor: int
    rated_starts: int | None
    pit_limit_mm: float
    prior_starts: int | None
    prior_arc_s: float | None
    state: str
    made_us: int
    fittings: tuple[FittingIn, ...]
    arcs: int
    arc_us: int
    inspections: tuple[Inspected, ...]

    @property
    def last_us(self) -> int:
        """When it was last known: taken out, or fitted, or first seen."""
        if not self.fittings:
            return self.made_us
        last = self.fittings[-1]
        return last.from_us if last.to_us == FOREVER_US else last.to_us


def fittings_of(
    *, pieces: Iterable[int] | None = None, span: tuple[datetime, datetime] | None = None
) -> list[FittingIn]:
    """Stays in torches, oldest first: of these pieces, or of any piece in a stretch of time."""
    wanted = Fitting.objects.order_by("fitted_at", "pk")
    if span is not None:
        wanted = wanted.filter(
            Q(removed_at=None) | Q(removed_at__gt=span[0]), fitted_at__lt=span[1]
        )
    fields = (
        "piece_id",
        "torch__table_id",
        "torch__table__code",
        "torch__code",
        "fitted_at",
        "removed_at",
    )
    if pieces is None:
        rows = list(wanted.values_list(*fields))
    else:
        rows = chunked(
            sorted(set(pieces)), lambda some: wanted.filter(piece__in=some).values_list(*fields)
        )
    return [
        FittingIn(piece, table, code, torch, to_us(start), to_us(end) if end else FOREVER_US)
        for piece, table, code, torch, start, end in rows
    ]


def load_pieces(ids: Iterable[int]) -> list[PieceIn]:
    """Pieces with their age by intake: three queries and one for each torch they were in."""
    ids = sorted(set(ids))
    stays: dict[int, list[FittingIn]] = defaultdict(list)
    for fitting in fittings_of(pieces=ids):
        stays[fitting.piece_id].append(fitting)
    counter = _Counter(fitting for own in stays.values() for fitting in own)
    seen: dict[int, list[tuple[int, float | None, bool | None]]] = defaultdict(list)
    for piece, at, pit, is_round in chunked(
        ids,
        lambda some: (
            Inspection.objects.filter(piece__in=some)
            .order_by("at", "pk")
            .values_list("piece_id", "at", "pit_mm", "orifice_round")
        ),
    ):
        seen[piece].append((to_us(at), pit, is_round))
    rows = chunked(ids, lambda some: Piece.objects.filter(pk__in=some).select_related("part"))
    limit_mm = the_shop().pit_limit_mm
    return [_piece(row, tuple(stays[row.pk]), seen[row.pk], counter, limit_mm) for row in rows]


def _piece(
    row: Piece,
    fittings: tuple[FittingIn, ...],
    seen: list[tuple[int, float | None, bool | None]],
    counter: _Counter,
    pit_limit_mm: float,
) -> PieceIn:
    arcs, arc_us = counter.count(fittings, FOREVER_US)
    inspections = []
    for at_us, pit, is_round in seen:
        starts = arc_s = None
        if row.prior_starts is not None:
            more, more_us = counter.count(fittings, at_us)
            starts = row.prior_starts + more
            arc_s = (row.prior_arc_s or 0.0) + more_us / 1_000_000
        inspections.append(Inspected(starts, pit, is_round, arc_s))
    limit = row.part.pit_limit_mm if row.part.pit_limit_mm is not None else pit_limit_mm
    return PieceIn(
        pk=row.pk,
        part_id=row.part_id,
        label=row.label,
        kind=row.part.kind,
        price_minor=row.price_minor,
        rated_starts=row.rated_starts or row.part.rated_starts,
        pit_limit_mm=limit,
        prior_starts=row.prior_starts,
        prior_arc_s=row.prior_arc_s,
        state=row.state,
        made_us=to_us(row.made_at),
        fittings=fittings,
        arcs=arcs,
        arc_us=arc_us,
        inspections=tuple(inspections),
    )


class _Counter:
    """Arcs of the torches concerned, read once a torch, then counted by bisection."""

    def __init__(self, fittings: Iterable[FittingIn]) -> None:
        spans: dict[tuple[str, str], tuple[int, int]] = {}
        for fit in fittings:
            key = (fit.table_code, fit.torch)
            low, high = spans.get(key, (fit.from_us, fit.to_us))
            spans[key] = (min(low, fit.from_us), max(high, fit.to_us))
        self._torches = {key: _TorchArcs(*key, *span) for key, span in spans.items()}

    def count(self, fittings: Iterable[FittingIn], until_us: int) -> tuple[int, int]:
        """(starts, microseconds of arc) in these stays before `until_us`: of arcs that began then,
        and of what was entered its share."""
        arcs = us = 0
        for fit in fittings:
            torch = self._torches[fit.table_code, fit.torch]
            more, more_us = torch.count(fit.from_us, min(fit.to_us, until_us))
            arcs, us = arcs + more, us + more_us
        return arcs, us


class _TorchArcs:
    def __init__(self, table: str, torch: str, low: int, high: int) -> None:
        arcs = Arc.objects.filter(table=table, torch=torch, on_us__gte=low, on_us__lt=high)
        rows = counted(arcs).order_by("on_us").values_list("on_us", "off_us")
        self._on: list[int] = []
        self._sum = [0]
        until_us = high if high < FOREVER_US else None
        entries = entries_of([table], low, until_us)[table]
        self._entries = [entry for entry in entries if entry.torch == torch]
        for on_us, off_us in rows.iterator(chunk_size=5_000):
            self._on.append(on_us)
            self._sum.append(self._sum[-1] + ((off_us or on_us) - on_us))

    def count(self, low: int, high: int) -> tuple[int, int]:
        first, last = bisect_left(self._on, low), bisect_left(self._on, high)
        starts = max(0, last - first)
        arc_us = max(0, self._sum[last] - self._sum[first])
        for entry in self._entries:
            more, more_us = entry.within([(low, high)])
            starts, arc_us = starts + more, arc_us + more_us
        return starts, arc_us
