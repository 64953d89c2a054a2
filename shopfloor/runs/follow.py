"""Following intake: arcs that were written or changed are matched to runs, soon and in bulk. What
a person said of an arc is never overwritten."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting
from shopfloor.background.request import request_work
from shopfloor.errors import FloorError
from shopfloor.models import ArcAssignment, Run, RunState, Segment, Table, Torch, User, Watermark
from shopfloor.people.rights import ASSIGN, may
from shopfloor.runs.arcs import arcs_by_key, arcs_changed, arcs_gone, arcs_in_range, from_us, to_us
from shopfloor.runs.assigning import arcs_matched
from shopfloor.runs.entered_counts import counts_replaced
from shopfloor.runs.matching import ArcInput
from shopfloor.runs.matching_input import ASSIGNED, UNDONE
from shopfloor.wear.fitted import set_fitted

MARK = "arcs"
MARK_GONE = "arcs gone"
Row = tuple[int, int, str, int, str]  # changed_us, id, table, on_us, key
APART_US = 6 * 3_600_000_000  # arcs further apart than this are matched as two stretches


def follow_arcs(*, limit: int = 2000) -> int:
    """Matches arcs changed or gone since the watermarks, at most `limit` of each; returns how
    many. Call again until 0. None is passed over: intake's `changed_us` grows from one commit to
    the next."""
    return _follow(MARK, arcs_changed, limit) + _follow(MARK_GONE, arcs_gone, limit)


def _follow(name: str, since: Callable[[int, int, int], list[Row]], limit: int) -> int:
    mark = Watermark.objects.filter(name=name).first() or Watermark(name=name)
    if not since(mark.changed_us, mark.row_id, 1):
        return 0  # looking takes no write lock
    with transaction.atomic(), acting("follow"):
        mark, _made = Watermark.objects.select_for_update().get_or_create(name=name)
        rows = since(mark.changed_us, mark.row_id, limit)
        if rows:
            _match_rows(rows, timezone.now())
            mark.changed_us, mark.row_id = rows[-1][:2]
            mark.save(update_fields=["changed_us", "row_id"])
    return len(rows)


@transaction.atomic
def stretch_matched(table: Table, moments: Sequence[int]) -> None:
    """Matches arcs around these moments again, as other arcs count now."""
    now = timezone.now()
    with acting("follow"):
        for first, last in _stretches(moments):
            arcs_matched(table=table, start=from_us(first), end=from_us(last + 1), now=now)
        counts_replaced(table=table, moments_us=moments, now=now)


def _match_rows(rows: Sequence[Row], now: datetime) -> None:
    tables = {table.code: table for table in Table.objects.all()}
    at: dict[str, list[int]] = defaultdict(list)
    for _changed, _id, code, on_us, _key in rows:
        at[code].append(on_us)
    wanted: set[str] = set()
    matched: set[str] = set()  # matching has asked for these itself
    keys = [row[4] for row in rows]
    for index in range(0, len(keys), 500):
        held = ArcAssignment.objects.filter(arc_key__in=keys[index : index + 500])
        places = held.exclude(segment=None).values_list(
            "segment__run", "segment__torch__table__code", "segment__started_at"
        )
        for of_run, at_table, started_at in places.distinct():
            # An arc that moved or went leaves a hole where it was: that stretch is matched too.
            at[at_table].append(to_us(started_at))
            wanted.add(str(of_run))
    for code, moments in at.items():
        if code not in tables:  # intake may listen to a table the shop has not drawn up yet
            continue
        for first, last in _stretches(moments):
            matched |= arcs_matched(
                table=tables[code], start=from_us(first), end=from_us(last + 1), now=now
            )
        counts_replaced(table=tables[code], moments_us=moments, now=now)
    for run in sorted(wanted - matched):
        request_work(kind="run", key=run)


def _stretches(moments: Sequence[int]) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for moment in sorted(moments):
        if found and moment - found[-1][1] <= APART_US:
            found[-1] = (found[-1][0], moment)
        else:
            found.append((moment, moment))
    return found


@transaction.atomic
def arcs_assign(
    *, arc_keys: Sequence[str], run: Run | None, by: User, why: str, now: datetime | None = None
) -> int:
    """A person says which run these arcs belong to (None: to no job at all). Holds through any
    rebuild and any later matching. Segments are made or stretched as needed. Returns how many."""
    _may(by)
    now = now or timezone.now()
    arcs = arcs_by_key(list(arc_keys))
    if len(arcs) != len(set(arc_keys)):
        raise FloorError(_("Some of these arcs are gone."), _("Load the list again."))
    if run is not None and run.state == RunState.VOIDED:
        raise FloorError(_("That run was taken back."))
    tables = _tables(arcs)
    with acting(f"user:{by.get_username()}", why=why):
        for (code, torch), group in _by_torch(arcs).items():
            segment = None
            if run is not None:
                start = from_us(group[0].on_us)
                end = from_us(max(arc.off_us or arc.on_us for arc in group))
                segment = _segment_for(run, tables[code], torch, start, end)
            for arc in group:
                ArcAssignment.objects.update_or_create(
                    arc_key=arc.key,
                    defaults={
                        "segment": segment,
                        "contour_number": None,
                        "repeat": False,
                        "by": by,
                        "why": why[:200],
                        "at": now,
                    },
                )
        _again(arcs, tables, now)
    if run is not None:
        request_work(kind="run", key=str(run.pk))
    return len(arcs)


@transaction.atomic
def arcs_unassign(
    *, arc_keys: Sequence[str], by: User, why: str, now: datetime | None = None
) -> int:
    """Takes a person's word on arcs back; matching decides again. Segments that were made for
    them and hold nothing any more go. Returns how many."""
    _may(by)
    now = now or timezone.now()
    arcs = arcs_by_key(list(arc_keys))
    with acting(f"user:{by.get_username()}", why=why):
        said = ArcAssignment.objects.filter(arc_key__in=list(arc_keys)).exclude(by=None)
        segments = list(
            Segment.objects.filter(assignments__in=said).distinct().select_related("run")
        )
        count, _each = said.delete()
        for segment in segments:
            request_work(kind="run", key=str(segment.run_id))
            if segment.end_reason == ASSIGNED and not segment.assignments.exists():
                segment.delete()
        _again(arcs, _tables(arcs), now)
    return count


def assignments_pruned() -> int:
    """Drops what matching said of arcs that intake no longer has. What a person said stays, and
    `assignments_without_arc` lists it. Returns how many were dropped."""
    dropped = 0
    last = 0
    while True:
        rows = list(
            ArcAssignment.objects.filter(by=None, pk__gt=last)
            .order_by("pk")
            .values_list("pk", "arc_key")[:5000]
        )
        if not rows:
            return dropped
        last = rows[-1][0]
        there = arcs_in_range(key for _run, key in rows)
        gone = [pk for pk, key in rows if key not in there]
        for index in range(0, len(gone), 500):
            dropped += ArcAssignment.objects.filter(
                pk__in=gone[index : index + 500], by=None
            ).delete()[0]


def _may(by: User) -> None:
    if not may(by, ASSIGN):
        raise FloorError(
            _("{shown_name} may not say what arcs belonged to.").format(shown_name=by.shown_name)
        )


def _by_torch(arcs: Sequence[ArcInput]) -> dict[tuple[str, str], list[ArcInput]]:
    found: dict[tuple[str, str], list[ArcInput]] = defaultdict(list)
    for arc in arcs:
        found[arc.table, arc.torch].append(arc)
    return dict(found)


def _segment_for(run: Run, table: Table, code: str, start: datetime, end: datetime) -> Segment:
    """The run's segment that holds this time at this torch, else a new one made for it."""
    torch, _made = Torch.objects.get_or_create(table=table, code=code)
    mine = run.segments.filter(torch=torch).exclude(end_reason=UNDONE).order_by("started_at")
    before = mine.filter(started_at__lte=start).last()
    if before is not None and (before.ended_at is None or before.ended_at >= end):
        return before
    near = before or mine.first()
    fitted = set_fitted(torch, start) or (near.wear_set if near else run.revision.nest.wear_set)
    made = Segment.objects.create(
        run=run,
        torch=torch,
        wear_set=fitted,
        operator=None,
        started_at=start,
        ended_at=end,
        end_reason=ASSIGNED,
        first_contour=(before.last_contour or 0) + 1 if before else 1,
    )
    if run.opened_at > start:
        run.opened_at = start
        run.save(update_fields=["opened_at"])
    return made


def _tables(arcs: Sequence[ArcInput]) -> dict[str, Table]:
    codes = {arc.table for arc in arcs}
    return {table.code: table for table in Table.objects.filter(code__in=codes)}


def _again(arcs: Sequence[ArcInput], tables: dict[str, Table], now: datetime) -> None:
    for code, table in tables.items():
        moments = [arc.on_us for arc in arcs if arc.table == code]
        arcs_matched(
            table=table, start=from_us(min(moments)), end=from_us(max(moments) + 1), now=now
        )
