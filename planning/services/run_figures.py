"""A run's variance, its days, its use of pieces and its postings. Work kind "run", key: run id."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from planning.calc.cost import attended
from planning.inputs.chunks import chunked, in_chunks
from planning.inputs.pieces import fittings_of
from planning.inputs.rates import rate_book
from planning.inputs.runs import load_runs
from planning.inputs.shifts import ShiftBook
from planning.inputs.types import RunIn
from planning.services.figuring import compute_run
from planning.services.piece_figures import pieces_write
from planning.services.piece_uses import Use, piece_uses
from planning.services.postings import MonthPicker, TargetPosting, post_differences
from planning.services.run_types import Rules, RunFigures
from planning.services.summaries import months_changed
from planning.services.table_time import tables_changed
from shopfloor.audit.history import row_key
from shopfloor.background.request import request_work
from shopfloor.models import (
    Change,
    PieceUse,
    Posting,
    Run,
    RunDay,
    RunState,
    RunVariance,
    Segment,
    User,
)
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.site.queries import the_shop
from telemetry.read_once import read_once

DAY = timedelta(days=1)


def run_figures(*, key: str, payload: dict[str, Any]) -> None:
    """Does one run, and asks for the others that its operators attended at the same time if what
    they attended here has changed. Harmless to repeat."""
    runs = Run.objects.filter(pk=key)
    made, beside = runs_write(runs, now=timezone.now())
    tables_changed(runs.values_list("table", flat=True))
    if any(row.kind == "labour" for row in made):
        for other in beside - {uuid.UUID(key)}:
            request_work(kind="run", key=str(other))


@read_once()
@transaction.atomic
def runs_write(
    runs: QuerySet[Run],
    *,
    now: datetime,
    pieces: set[int] | None = None,
    by: User | None = None,
    why: str = "",
) -> tuple[list[Posting], set[uuid.UUID]]:
    """Figures of all runs of a query set. Returns the postings written for them, and the runs
    whose operators were theirs too. The pieces they used follow at once, or are added to `pieces`
    for the caller to do. `by` is who asked for what has changed, and `why`."""
    months = MonthPicker()
    loaded = load_runs(runs, now=now)
    if not loaded:
        return [], set()
    figures, beside, (start, end) = _figured(loaded, now)
    fittings = fittings_of(span=(start - DAY, end + DAY))
    uses = [
        piece_uses(run, own, fittings) if run.state != RunState.VOIDED else []
        for run, own in zip(loaded, figures, strict=True)
    ]
    ids = [run.run_id for run in loaded]
    _variances(loaded, figures, now)
    _days(loaded, figures)
    touched = _piece_uses(ids, uses)
    made = _post(loaded, figures, months, by, why)
    if pieces is None:
        pieces_write(touched, now=now, months=months)
    else:
        pieces |= touched
    months_changed([*months.changed, *_counted(loaded)])
    return made, beside


def _counted(loaded: Sequence[RunIn]) -> list[date]:
    """Shift dates of the runs whose months count them or counted them: those that are over, and
    those that were finished once and are open again."""
    over = (RunState.FINISHED, RunState.VOIDED)
    going = {row_key(Run, run.run_id): run for run in loaded if run.state not in over}
    again = chunked(
        list(going),
        lambda some: Change.objects.filter(
            table=Run._meta.db_table, row__in=some, old__state=RunState.FINISHED
        ).values_list("row", flat=True),
    )
    days = [run.shift_date for run in loaded if run.state in over]
    return days + [going[row].shift_date for row in set(again)]


def _figured(
    loaded: Sequence[RunIn], now: datetime
) -> tuple[list[RunFigures], set[uuid.UUID], tuple[datetime, datetime]]:
    """Figures of runs, the runs whose operators were theirs too, and the stretch they lie in."""
    edges = [edge for run in loaded for span in run.windows for edge in span]
    edges += [to_us(run.opened_at) for run in loaded]
    start, end = from_us(min(edges)), from_us(max(edges)) + timedelta(microseconds=1)
    shifts, rates, shop = ShiftBook(start, end), rate_book(), the_shop()
    rules = Rules(shop.remnant_factor, shop.remnant_min_mm2)
    minutes, beside = _attended(loaded, start, end, now)
    figures = [
        compute_run(
            run, rates=rates, shifts=shifts, rules=rules, attended_us=minutes.get(run.run_id, 0)
        )
        for run in loaded
    ]
    return figures, beside, (start, end)


def wanted_amounts(runs: QuerySet[Run], *, now: datetime) -> dict[str, int]:
    """Minor units that should stand in the books for runs, wear apart, by key. Writes nothing."""
    loaded = load_runs(runs, now=now)
    figures = _figured(loaded, now)[0] if loaded else []
    return {
        want.key: want.amount_minor
        for run, own in zip(loaded, figures, strict=True)
        for want in run_wants(run, own)
    }


def _attended(
    loaded: Sequence[RunIn], start: datetime, end: datetime, now: datetime
) -> tuple[dict[uuid.UUID, int], set[uuid.UUID]]:
    """Attended microseconds by run, each person's time split over all they attended at once."""
    people = {seg.operator_id for run in loaded for seg in run.segments if seg.operator_id}
    rows = (
        Segment.objects.filter(operator__in=people, started_at__lt=end)
        .filter(Q(ended_at=None) | Q(ended_at__gt=start))
        .exclude(run__state=RunState.VOIDED)
        .order_by("started_at", "pk")
        .values_list("operator_id", "run_id", "started_at", "ended_at")
    )
    stretches = [
        (person, run, to_us(begun), to_us(ended or max(now, begun)))
        for person, run, begun, ended in rows
    ]
    minutes, _ = attended(stretches)
    return minutes, {run for _, run, _, _ in stretches}


def _seconds(us: int | None) -> float | None:
    return None if us is None else us / 1_000_000


def _terms(terms: Any) -> dict[str, float]:
    return {name: us / 1_000_000 for name, us in terms.items()}


def _variances(loaded: Sequence[RunIn], figures: Sequence[RunFigures], now: datetime) -> None:
    rows = []
    for run, own in zip(loaded, figures, strict=True):
        found = own.variance
        pierces = [arc.pierces for arc in run.arcs]
        planned_us = (
            found.planned_us
            if found.planned_us is not None
            else (run.plan.total_us if run.plan else None)
        )
        rows.append(
            RunVariance(
                run_id=run.run_id,
                planned_s=_seconds(planned_us),
                elapsed_s=_seconds(found.elapsed_us),
                arc_s=_seconds(sum(arc.us for arc in run.arcs)) if run.arcs else None,
                arcs=len(run.arcs) if run.measured else None,
                pierces=sum(p or 0 for p in pierces) if run.pierces_known else None,
                terms=_terms(found.terms),
                spent=_terms(found.spent),
                planned_terms=_terms(found.planned),
                minor_per_hour=own.minor_per_hour,
                misfires=found.misfires,
                coverage=found.known_share if run.measured else 0.0,
                computed_at=now,
            )
        )
    fields = [f.name for f in RunVariance._meta.fields if f.name not in ("id", "run")]
    RunVariance.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["run"], update_fields=fields, batch_size=400
    )


def _days(loaded: Sequence[RunIn], figures: Sequence[RunFigures]) -> None:
    for some in in_chunks([run.run_id for run in loaded]):
        RunDay.objects.filter(run__in=some).delete()
    rows = [
        RunDay(
            run_id=run.run_id,
            shift_date=day.day,
            table_id=run.table_id,
            wear_set_id=day.wear_set_id,
            arcs=day.arcs,
            arc_s=day.arc_us / 1_000_000,
            elapsed_s=day.elapsed_us / 1_000_000,
            planned_arc_s=_seconds(day.planned_arc_us),
            cut_mm=day.cut_mm,
            entered_s=day.entered_us / 1_000_000,
            entered_arc_s=day.entered_arc_us / 1_000_000,
            unknown_s=day.unknown_us / 1_000_000,
            evidence="measured" if run.measured else "entered",
        )
        for run, own in zip(loaded, figures, strict=True)
        if run.state != RunState.VOIDED
        for day in own.days
    ]
    RunDay.objects.bulk_create(rows, batch_size=500)


def _piece_uses(ids: Sequence[uuid.UUID], uses: Sequence[Sequence[Use]]) -> set[int]:
    """Writes the uses; returns every piece that has or had one, for its charges to follow."""
    had = chunked(
        ids,
        lambda some: PieceUse.objects.filter(run__in=some).values_list("piece_id", flat=True),
    )
    for some in in_chunks(ids):
        PieceUse.objects.filter(run__in=some).delete()
    rows = [
        PieceUse(
            run_id=run,
            piece_id=use.piece_id,
            at=from_us(use.at_us),
            starts=use.starts,
            arc_s=use.arc_us / 1_000_000,
            weights={str(line or ""): weight for line, weight in use.weights.items()},
            evidence=use.evidence,
            known_starts=use.known_starts,
        )
        for run, own in zip(ids, uses, strict=True)
        for use in own
    ]
    PieceUse.objects.bulk_create(rows, batch_size=500)
    return set(had) | {row.piece_id for row in rows}


def run_wants(run: RunIn, figures: RunFigures) -> Iterable[TargetPosting]:
    """What should stand in the books for a run, wear apart."""
    for slot, amount in figures.amounts.items():
        yield TargetPosting(
            key=f"run:{run.run_id}:{slot.kind}:{slot.line or 'shop'}:{slot.cause}",
            kind=slot.kind,
            amount_minor=amount.minor,
            shift_date=run.shift_date,
            evidence=amount.evidence,
            line_id=slot.line,
            run_id=run.run_id,
            quantity=amount.quantity,
            unit=amount.unit,
            cause=slot.cause,
        )


def _post(
    loaded: Sequence[RunIn],
    figures: Sequence[RunFigures],
    months: MonthPicker,
    by: User | None,
    why: str,
) -> list[Posting]:
    wants = {
        run.run_id: list(run_wants(run, own)) for run, own in zip(loaded, figures, strict=True)
    }
    made: list[Posting] = []
    for some in in_chunks(list(wants)):
        made += post_differences(
            [want for run in some for want in wants[run]],
            Posting.objects.filter(run__in=some, piece=None),
            months=months,
            by=by,
            why=why,
        )
    return made
