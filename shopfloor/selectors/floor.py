"""What a floor terminal shows of its table."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from datetime import datetime, timedelta

from django.db.models import QuerySet

from shopfloor.models import (
    Action,
    ActionState,
    ArcAssignment,
    Check,
    Fitting,
    NestPlan,
    NestRevision,
    QueueItem,
    Reason,
    Run,
    RunState,
    Segment,
    Stoppage,
    Table,
    Terminal,
    WearSet,
)
from shopfloor.selectors.arcs import arcs_by_key, from_us, master_arcs, table_listens
from shopfloor.selectors.checks import FIRST_PIECE_DONE
from shopfloor.selectors.fitted import fittings_in, set_of
from shopfloor.selectors.floor_shapes import (
    FloorContour,
    FloorLine,
    FloorPiece,
    FloorQueueItem,
    FloorRun,
    FloorStoppage,
    FloorTable,
    FloorTorch,
)
from shopfloor.selectors.lines import line_counts, parts_of_run, run_begins
from shopfloor.selectors.running import current_run
from shopfloor.selectors.shop import the_shop

REASONS_BACK = timedelta(hours=16)  # how long a stop without a reason is asked about on the floor


def floor_table(*, table: Table, now: datetime) -> FloorTable:
    fitted = {torch.code: fittings_in(torch) for torch in table.torches.order_by("code")}
    first = next(iter(fitted.values()), [])
    wear_set = set_of(first)
    run = current_run(table, now)
    going = run if run is not None and run.state in (RunState.OPEN, RunState.STOPPED) else None
    shown = _run(going) if going else None
    last = master_arcs(table).order_by("-on_us").values_list("on_us", "off_us").first()
    set_right = None
    cuts = going.segments.order_by("started_at", "pk").last() if going is not None else None
    inside = set_of(fitted.get(cuts.torch.code, [])) if cuts is not None else None
    if going is not None and inside is not None:
        set_right = inside.pk == going.revision.nest.wear_set_id
    return FloorTable(
        table=table.name,
        torches=tuple(_torch(code, fittings) for code, fittings in fitted.items()),
        run=shown,
        set_right=set_right,
        stoppage=next(iter(_stoppages(table.stoppages.filter(ended_at=None))), None),
        reasons_wanted=_stoppages(
            table.stoppages.filter(reason=None, started_at__gte=now - REASONS_BACK)
        ),
        queue=_queue(table, wear_set),
        first_piece_needed=going is not None and first_piece_needed(going, last_segment(going)),
        people=(shown.operator,) if shown is not None and shown.operator else (),
        burning=(last is not None and last[1] is None) if table_listens(table) else None,
        last_arc_at=from_us(last[1] or last[0]) if last else None,
    )


def floor_contours(*, run: Run) -> list[FloorContour]:
    """A nest's map: each contour and what was burnt of it."""
    rows = list(ArcAssignment.objects.filter(segment__run=run).exclude(contour_number=None))
    burning = {arc.key for arc in arcs_by_key([r.arc_key for r in rows]) if arc.off_us is None}
    by_number: dict[int | None, list[ArcAssignment]] = defaultdict(list)
    for row in rows:
        by_number[row.contour_number].append(row)
    return [
        FloorContour(
            number=contour.number,
            part=contour.part,
            line_id=contour.line_id,
            copy=contour.copy,
            inner=contour.inner,
            points=contour.points,
            state=_state(by_number[contour.number], burning),
            arcs=len(by_number[contour.number]),
        )
        for contour in run.revision.contours.order_by("number")
    ]


def recent_actions(*, terminal: Terminal, limit: int = 5) -> list[Action]:
    """The last entries of a terminal, newest first."""
    rows = Action.objects.filter(terminal=terminal).select_related("person")
    return list(rows.order_by("-received_at")[:limit])


def open_conflicts() -> QuerySet[Action]:
    """Entries that say otherwise than the books, oldest first."""
    rows = Action.objects.filter(state=ActionState.CONFLICT)
    return rows.select_related("person", "terminal").order_by("received_at")


def stop_reasons() -> list[Reason]:
    return list(Reason.objects.filter(active=True))


def _state(rows: list[ArcAssignment], burning: set[str]) -> str:
    if not rows:
        return "not_yet"
    if any(row.arc_key in burning for row in rows):
        return "burning"
    return "again" if all(row.repeat for row in rows) else "done"


def _torch(code: str, fittings: list[Fitting]) -> FloorTorch:
    wear_set = set_of(fittings)
    shop = the_shop()
    return FloorTorch(
        code=code,
        set=str(wear_set) if wear_set else None,
        pieces=tuple(_piece(fitting, shop.pit_limit_mm) for fitting in fittings),
    )


def _piece(fitting: Fitting, shop_limit_mm: float) -> FloorPiece:
    piece = fitting.piece
    outlook = getattr(piece, "outlook", None)
    own = piece.part.pit_limit_mm
    return FloorPiece(
        label=piece.label,
        kind=piece.part.kind,
        due=outlook.due if outlook else "",
        starts=outlook.starts if outlook else None,
        starts_left=outlook.starts_left if outlook else None,
        pit_mm=outlook.pit_mm if outlook else None,
        pit_limit_mm=own if own is not None else shop_limit_mm,
        computed_at=outlook.computed_at if outlook else None,
    )


def _run(run: Run) -> FloorRun:
    rows = list(
        ArcAssignment.objects.filter(segment__run=run).values_list(
            "arc_key", "contour_number", "repeat"
        )
    )
    arcs = arcs_by_key([row[0] for row in rows])
    done = {number for _, number, repeat in rows if number is not None and not repeat}
    latest = arcs[-1] if arcs else None
    by_key = {row[0]: row[1] for row in rows}
    planned = run.revision.contours.count()
    segment = last_segment(run)
    operator = segment.operator if segment else None
    return FloorRun(
        id=run.pk,
        nest=run.revision.nest.name,
        revision=run.revision.revision,
        nest_set=str(run.revision.nest.wear_set),
        sheet=run.sheet.code if run.sheet else None,
        heat=run.sheet.heat.number if run.sheet and run.sheet.heat else None,
        state=run.state,
        opened_at=run.opened_at,
        operator=operator.shown_name if operator else None,
        arcs_done=len(arcs),
        contours_done=len(done),
        contours_planned=planned,
        contour_now=by_key.get(latest.key) if latest else None,
        last_arc_at=from_us(latest.off_us or latest.on_us) if latest else None,
        planned_s=run.plan.get("total_s"),
        left_s=left_s(run, done, planned, run_begins(run)),
        end_assumed=bool(segment and segment.end_assumed),
        lines=_lines(run),
    )


def left_s(run: Run, done: Collection[int], planned: int, first: int) -> float | None:
    """Seconds of plan not burnt yet: the arcs of contours not done, and the plan's other time in
    their proportion. A contour that burns counts as done. None where the plan does not say.
    `first`: the first contour on this run's sheet."""
    arcs_s, total_s = run.plan.get("arcs_s"), run.plan.get("total_s")
    if not arcs_s or total_s is None or len(arcs_s) != planned:
        return None
    missing = [index for index in range(first - 1, planned) if index + 1 not in done]
    between_s = max(total_s - sum(arcs_s), 0.0)
    return float(sum(arcs_s[index] for index in missing) + between_s * len(missing) / planned)


def _lines(run: Run) -> tuple[FloorLine, ...]:
    on_sheet: dict[int, int] = defaultdict(int)
    for part in parts_of_run(run):
        on_sheet[part.line] += 1
    counts = line_counts(on_sheet)
    contours = run.revision.contours.exclude(line=None).select_related("line__job")
    lines = {contour.line_id: contour.line for contour in contours}
    return tuple(
        FloorLine(
            id=line.pk,
            job=line.job.number,
            number=line.number,
            part=line.part,
            on_sheet=on_sheet[line.pk],
            ordered=counts[line.pk].ordered,
            good=counts[line.pk].good,
            shortage=counts[line.pk].shortage,
        )
        for line in lines.values()
        if line is not None
    )


def _stoppages(rows: QuerySet[Stoppage]) -> tuple[FloorStoppage, ...]:
    return tuple(
        FloorStoppage(
            id=row.pk,
            reason=row.reason.label if row.reason else None,
            started_at=row.started_at,
            ended_at=row.ended_at,
            evidence=row.evidence,
        )
        for row in rows.select_related("reason").order_by("-started_at")[:5]
    )


def _queue(table: Table, fitted: WearSet | None) -> tuple[FloorQueueItem, ...]:
    items = QueueItem.objects.filter(table=table, state="waiting").select_related(
        "nest__wear_set", "nest__material", "sheet"
    )
    before = fitted
    found = []
    for item in items.order_by("position", "pk")[:3]:
        wanted = item.nest.wear_set
        revision = NestRevision.objects.filter(nest=item.nest).order_by("-revision").first()
        found.append(
            FloorQueueItem(
                id=item.pk,
                nest=item.nest.name,
                revision_id=revision.pk if revision else None,
                set=str(wanted),
                sheet=item.sheet.code if item.sheet else None,
                material=item.nest.material.name,
                thickness=item.nest.thickness_text,
                due_at=item.due_at,
                planned_s=_planned_s(revision, table, wanted),
                set_change=None if before is None else before.pk != wanted.pk,
            )
        )
        before = wanted
    return tuple(found)


def _planned_s(revision: NestRevision | None, table: Table, wear_set: WearSet) -> float | None:
    plans = NestPlan.objects.filter(revision=revision, table=table, wear_set=wear_set)
    return plans.values_list("total_s", flat=True).first()


def last_segment(run: Run) -> Segment | None:
    """The one that cuts now, else that cut last, with its set and operator."""
    rows = run.segments.select_related("operator", "wear_set")
    return rows.order_by("-started_at", "-pk").first()


def first_piece_needed(run: Run, segment: Segment | None) -> bool:
    """Until a first piece of this run, or of this revision by anyone before, was done. For those
    whose first pieces take a second signature: until one of this run was. `segment`: the run's
    last."""
    if segment is not None and segment.operator and segment.operator.needs_countersign:
        return not run.checks.filter(FIRST_PIECE_DONE).exists()
    return not Check.objects.filter(FIRST_PIECE_DONE, run__revision=run.revision_id).exists()
