"""One run beside its figures: the map of its parts, its checks, its history. No money."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db.models import Q, Sum, TextField, Value
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import (
    ArcAssignment,
    Change,
    Check,
    Contour,
    PartResult,
    Run,
    RunState,
    Segment,
    Stoppage,
)
from shopfloor.svg.part_outline import part_paths
from shopfloor.svg.parts_map import Part, PartState
from shopfloor.wording.clock import when

STANDING = (RunState.OPEN, RunState.STOPPED, RunState.FINISHED)
LONGEST = timedelta(days=31)  # our assumption: no run takes longer
STALE = timedelta(days=2)  # an open run older than this is not of today
# Rows of a run's history: only columns a reader can make sense of.
SAID = {
    "state": "state", "closed_at": "closed", "opened_at": "opened", "note": "note",
    "sheet_id": "sheet", "swap_reason": "swap", "ended_at": "ended", "started_at": "started",
    "end_reason": "end", "operator_id": "operator", "reason_id": "reason", "quantity": "parts",
    "outcome": "outcome", "cause": "cause", "first_contour": N_("first contour"),
    "last_contour": N_("last contour"), "end_assumed": N_("end assumed"), "u_mm": "u, mm",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class RunOfShift:
    """One run begun or going on in a span of time."""

    run_id: str
    nest: str
    table: str
    opened_at: datetime
    closed_at: datetime | None
    state: str
    evidence: str
    jobs: str
    good: int
    scrap: int

    @property
    def took_s(self) -> float | None:
        """From its start to its end, however many shifts that takes; None while it is open."""
        return None if self.closed_at is None else (self.closed_at - self.opened_at).total_seconds()


@dataclass(frozen=True, slots=True)
class RunMap:
    parts: tuple[Part, ...]
    sheet_mm: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class CheckSeen:
    at: datetime
    by: str
    u_mm: float | None
    u_range: int | None
    rz5_um: float | None
    kerf_mm: float | None
    dross: str
    passed: bool | None


@dataclass(frozen=True, slots=True)
class ChangeSeen:
    """One entry of the audit trail in words."""

    at: datetime
    what: str
    who: str
    why: str
    said: str


def runs_between(start: datetime, end: datetime, most: int = 60) -> list[RunOfShift]:
    """Runs that were open in [start, end), the newest first; three queries."""
    rows = (
        Run.objects.filter(opened_at__lt=end, opened_at__gte=start - LONGEST, state__in=STANDING)
        .filter(Q(closed_at=None, opened_at__gte=start - STALE) | Q(closed_at__gt=start))
        .order_by("-opened_at")
        .values_list(
            "pk", "revision", "revision__nest__name", "table__name",
            "opened_at", "closed_at", "state", "evidence",
        )[:most]
    )  # fmt: skip
    runs = list(rows)
    jobs: dict[int, set[str]] = defaultdict(set)
    for revision, number in (
        Contour.objects.filter(
            revision__in={revision for _pk, revision, *_rest in runs}, inner=False
        )
        .exclude(line=None)
        .order_by()  # by number, the database would hand over every contour
        .values_list("revision", "line__job__number")
        .distinct()
    ):
        jobs[revision].add(number)
    counts: dict[Any, dict[str, int]] = defaultdict(dict)
    for run_id, outcome, total in (
        PartResult.objects.filter(run__in=[pk for pk, *_rest in runs])
        .order_by()
        .values_list("run", "outcome")
        .annotate(total=Sum("quantity"))
    ):
        counts[run_id][outcome] = total
    return [
        RunOfShift(
            str(pk),
            nest,
            table,
            opened_at,
            closed_at,
            str(RunState(state).label),
            evidence,
            ", ".join(sorted(jobs[revision])),
            counts[pk].get("good", 0),
            counts[pk].get("scrap", 0),
        )
        for pk, revision, nest, table, opened_at, closed_at, state, evidence in runs
    ]


Members = dict[tuple[int | None, str, int], list[Contour]]


def run_map(run_id: str) -> RunMap:
    """The parts of a run's nest where they lie, with what became of each. Raises `LookupError`."""
    run = Run.objects.select_related("sheet").defer("plan").filter(pk=run_id).first()
    if run is None:
        raise LookupError(_("There is no such run."))
    burnt = set(
        ArcAssignment.objects.filter(segment__run=run)
        .exclude(contour_number=None)
        .values_list("contour_number", flat=True)
    )
    judged: dict[int | None, str] = dict(
        PartResult.objects.filter(run=run, quantity__gt=0)
        .exclude(contour_number=None)
        .order_by("at")
        .values_list("contour_number", "outcome")
    )
    members: Members = defaultdict(list)
    for contour in Contour.objects.filter(revision=run.revision_id).order_by("number"):
        members[contour.line_id, contour.part, contour.copy].append(contour)
    whole = _whole_lines(run, members, judged) if run.state == RunState.FINISHED else set()
    parts = []
    for (line, name, copy), contours in members.items():
        outline = next((one for one in contours if not one.inner), contours[0])
        drawn = [outline, *(one for one in contours if one is not outline)]
        points, leads = part_paths(drawn)
        if points:
            numbers: set[int | None] = {one.number for one in contours}
            state = _state(numbers, burnt, judged, line in whole)
            named = _("{name}, copy {copy}").format(name=name, copy=copy)
            parts.append(Part(str(outline.number), points, state, name=named, leads=leads))
    sheet = run.sheet
    size = (sheet.length_mm, sheet.width_mm) if sheet else None
    return RunMap(tuple(parts), size)


def _whole_lines(run: Run, members: Members, judged: dict[int | None, str]) -> set[int | None]:
    """Lines of which every part that is not named is good. Counts without a contour do not say
    which part is scrap: then none of them is called good. Parts of no job go with the rest."""
    open_parts: Counter[int | None] = Counter()
    for (line, _name, _copy), contours in members.items():
        named = {judged[one.number] for one in contours if one.number in judged}
        open_parts[line] += not named - {"good"}
    rows = PartResult.objects.filter(run=run, outcome="good").order_by().values_list("line")
    good = dict(rows.annotate(total=Sum("quantity")))
    whole: set[int | None] = {
        line for line, parts in open_parts.items() if line and good.get(line, 0) >= parts
    }
    return whole | ({None} if any(total > 0 for total in good.values()) else set())


def _state(
    numbers: set[int | None], burnt: set[int | None], judged: dict[int | None, str], all_good: bool
) -> PartState:
    said = {judged[number] for number in numbers & judged.keys()}
    if "scrap" in said:
        return "scrap"
    if said & {"not_cut"}:
        return "not-cut"
    if said & {"good"} or all_good:
        return "good"
    return "burnt" if numbers <= burnt else "planned"


def run_checks(run_id: str) -> list[CheckSeen]:
    return [
        CheckSeen(
            row.at,
            row.by.shown_name,
            row.u_mm,
            row.u_range,
            row.rz5_um,
            row.kerf_mm,
            row.dross,
            row.passed,
        )
        for row in Check.objects.filter(run__pk=run_id).select_related("by")
    ]


def run_changes(run_id: str) -> list[ChangeSeen]:
    """Every change to a run, its segments, stoppages, parts and checks, the newest first; what
    matching wrote for single arcs is left out."""
    keys = {run_id, str(run_id).replace("-", "")}
    rows = Q(table=Run._meta.db_table, row__in=keys)
    for table, found in _beneath(run_id).items():
        rows |= Q(table=table, row__in=found)
    changes = Change.objects.filter(rows).order_by("-at", "-pk")[:60]
    return [
        ChangeSeen(
            row.at,
            f"{row.table.rpartition('_')[2]} {WAYS.get(row.operation, row.operation)}",
            row.who,
            row.why,
            _said(row.old, row.new),
        )
        for row in changes
    ]


def _beneath(run_id: str) -> dict[str, list[str]]:
    """The rows that belong to a run, by table: as texts, as the trail names them. One query."""
    first, *others = (
        model.objects.filter(run__pk=run_id)
        .order_by()
        .values_list(Value(model._meta.db_table, output_field=TextField()), "pk")
        for model in (Segment, Stoppage, PartResult, Check)
    )
    found: dict[str, list[str]] = defaultdict(list)
    for table, pk in first.union(*others, all=True):
        found[table].append(str(pk))
    return found


WAYS = {"insert": "made", "update": "changed", "delete": "removed"}


def _said(old: Any, new: Any) -> str:
    before, after = _object(old), _object(new)
    parts = []
    for name, label in SAID.items():
        was, now = before.get(name), after.get(name)
        if was == now or (not before and now in (None, "", False)):
            continue
        word = _moment if name.endswith("_at") else _word
        parts.append(
            f"{_(label)} {word(was)} → {word(now)}" if before else f"{_(label)} {word(now)}"
        )
    return "; ".join(parts)


def _object(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _moment(value: Any) -> str:
    """A moment of the trail, which SQLite writes in UTC without saying so, on the shop's clock."""
    at = parse_datetime(value) if isinstance(value, str) else None
    if at is None:
        return _word(value)
    return str(when(at if at.tzinfo else at.replace(tzinfo=UTC)))


def _word(value: Any) -> str:
    return "none" if value in (None, "") else str(value)[:60]
