"""What arcs that no run holds might have been: for any number of stretches in a handful of
queries, and one more for each stretch."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Count, Q
from django.utils.translation import gettext as _

from shopfloor.models import ArcAssignment, Contour, NestRevision, QueueItem, Run, RunState

MOST = 5
MOST_NESTS = 20
AROUND = timedelta(hours=12)
BACK = timedelta(days=3)  # most tables began a few runs in that time


@dataclass(frozen=True, slots=True)
class Stretch:
    """So many arcs of one table, burnt in [start, end); `programs` are names the table said."""

    table_id: int
    start: datetime
    end: datetime
    arcs: int
    programs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A run, or a nest that was not started, these arcs may belong to. By time and count only: the
    lengths of the arcs may know better."""

    run: UUID | None
    nest: str
    revision_id: int
    contours: int
    why: str


Named = dict[int, str]  # the nest's name by revision, in order


def suggestions_of(stretches: Sequence[Stretch]) -> list[tuple[Suggestion, ...]]:
    """By stretch: runs open or just ended around that time first, then nests; of each the one whose
    contours are nearest in number. Nests whose program the table named come before all."""
    if not stretches:
        return []
    begun = _begun_about(stretches)
    runs = [_runs(one, begun) for one in stretches]
    waiting = _waiting({one.table_id for one in stretches})
    around = [_around(one, begun) for one in stretches]
    revisions = {run.revision_id for some in runs for run in some}
    for named in (*waiting.values(), *around):
        revisions |= set(named)
    contours = _contours(revisions)
    burnt = _burnt([run.pk for some in runs for run in some])
    found = []
    for stretch, near, day in zip(stretches, runs, around, strict=True):
        both = _of_runs(stretch, near, contours, burnt)
        both += _of_nests(stretch, waiting[stretch.table_id], day, contours)
        found.append(both[:MOST])
    files = _files({one.revision_id for some in found for one in some}, stretches)
    return [
        tuple(_named_first(some, one.programs, files))
        for one, some in zip(stretches, found, strict=True)
    ]


class Near(NamedTuple):
    """A run about the time of a stretch."""

    pk: UUID
    state: str
    closed_at: datetime | None
    revision_id: int
    nest: str
    table_id: int
    opened_at: datetime


COLUMNS = (
    "pk", "state", "closed_at", "revision_id", "revision__nest__name", "table_id", "opened_at"
)  # fmt: skip


def _begun_about(stretches: Sequence[Stretch]) -> list[Near]:
    """Runs begun from `BACK` before any of the stretches to `AROUND` after it, at its table, the
    newest first."""
    near = Q()
    for one in stretches:
        near |= Q(
            table=one.table_id, opened_at__gt=one.start - BACK, opened_at__lt=one.end + AROUND
        )
    rows = Run.objects.filter(near).order_by("-opened_at", "pk")
    return [Near(*row) for row in rows.values_list(*COLUMNS)]


def _runs(stretch: Stretch, about: Sequence[Near]) -> list[Near]:
    """The last few begun before its end; older ones are asked for where too few were then."""
    found = [
        run
        for run in about
        if run.table_id == stretch.table_id
        and run.state != RunState.VOIDED
        and stretch.start - BACK < run.opened_at < stretch.end
    ]
    if len(found) < MOST:
        rows = Run.objects.filter(table=stretch.table_id, opened_at__lt=stretch.end)
        rows = rows.exclude(state=RunState.VOIDED).order_by("-opened_at")
        found = [Near(*row) for row in rows.values_list(*COLUMNS)[:MOST]]
    return found[:MOST]


def _waiting(tables: Collection[int]) -> dict[int, Named]:
    """By table the newest revisions of the first nests in its queue."""
    queued: dict[int, dict[int, str]] = defaultdict(dict)
    items = QueueItem.objects.filter(table__in=tables, state="waiting").order_by("position", "pk")
    for table, nest, name in items.values_list("table_id", "nest_id", "nest__name"):
        if len(queued[table]) < MOST_NESTS:
            queued[table][nest] = name
    nests = {nest for own in queued.values() for nest in own}
    rows = NestRevision.objects.filter(nest__in=nests).order_by("revision")
    newest = dict(rows.values_list("nest_id", "pk")) if nests else {}
    found: dict[int, Named] = defaultdict(dict)
    for table, own in queued.items():
        found[table] = {newest[nest]: name for nest, name in own.items() if nest in newest}
    return found


def _around(stretch: Stretch, about: Sequence[Near]) -> Named:
    """The revisions that runs were begun of around that time, the newest first."""
    own: Named = {}
    for run in about:
        begun = stretch.start - AROUND < run.opened_at < stretch.end + AROUND
        if run.table_id == stretch.table_id and begun and len(own) < MOST_NESTS:
            own.setdefault(run.revision_id, run.nest)
    return own


def _contours(revisions: Collection[int]) -> dict[int, int]:
    return _counted(Contour.objects.filter(revision__in=revisions), "revision_id")


def _burnt(runs: Collection[UUID]) -> dict[UUID, int]:
    """Arcs each run holds, repeated starts apart."""
    held = ArcAssignment.objects.filter(segment__run__in=runs, repeat=False)
    return _counted(held, "segment__run_id")


def _counted(rows: Any, by: str) -> dict[Any, int]:
    return dict(rows.order_by().values(by).annotate(count=Count("pk")).values_list(by, "count"))


def _of_runs(
    stretch: Stretch, runs: Sequence[Near], contours: dict[int, int], burnt: dict[UUID, int]
) -> list[Suggestion]:
    found = []
    for run in runs:
        missing = contours.get(run.revision_id, 0) - burnt.get(run.pk, 0)
        over = run.closed_at is not None and run.closed_at < stretch.start
        if missing > 0 and not over:
            why = _("was {state} then, {missing} of its contours have no arc").format(
                state=run.state, missing=missing
            )
            found.append(Suggestion(run.pk, run.nest, run.revision_id, missing, why))
    return sorted(found, key=lambda one: abs(one.contours - stretch.arcs))


def _of_nests(
    stretch: Stretch, waiting: Named, around: Named, contours: dict[int, int]
) -> list[Suggestion]:
    """Nests that were not started, nearest in number first: what is burnt on the table around
    that time is often burnt once more, and what waits may have been taken early."""
    found = {}
    for words, named in ((_("in the queue"), waiting), (_("burnt that day"), around)):
        for revision, nest in named.items():
            count = contours.get(revision, 0)
            found[revision] = Suggestion(
                None,
                nest,
                revision,
                count,
                _("{words}, {count} contours").format(words=words, count=count),
            )
    return sorted(found.values(), key=lambda one: abs(one.contours - stretch.arcs))


def _files(revisions: Collection[int], stretches: Sequence[Stretch]) -> dict[int, str]:
    """Names of their programs' files, where any table said what it ran."""
    if not any(one.programs for one in stretches):
        return {}
    rows = NestRevision.objects.filter(pk__in=revisions).order_by()
    return dict(rows.values_list("pk", "file_name"))


def _named_first(
    found: list[Suggestion], programs: tuple[str, ...], files: dict[int, str]
) -> list[Suggestion]:
    """Nests whose program the table named come before the others, and say so."""
    stems = {_stem(program) for program in programs}
    named = [
        replace(one, why=f"its program was loaded; {one.why}")
        for one in found
        if {_stem(one.nest), _stem(files.get(one.revision_id, ""))} & stems
    ]
    rest = {one.revision_id for one in named}
    return named + [one for one in found if one.revision_id not in rest]


def _stem(name: str) -> str:
    """A program's name without folder and ending, as controllers differ in what they say."""
    last = name.replace("\\", "/").rpartition("/")[2].strip()
    return last.rsplit(".", 1)[0].casefold()
