"""Rows to open pages with: the newest and the oldest of each kind in the shop at hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from planning.reports.factors import factor_board
from planning.reports.squareness import squareness
from shopfloor.models import (
    ArcAssignment,
    ChartRow,
    ChartTrial,
    Contour,
    Drawing,
    DrawingRevision,
    Fitting,
    Heat,
    Incoming,
    Inspection,
    Job,
    JobLine,
    JobList,
    KnownPart,
    Month,
    Nest,
    NestPlan,
    NestRevision,
    Piece,
    Posting,
    Quote,
    Rate,
    Run,
    RunDay,
    RunState,
    RunVariance,
    SetPart,
    Sheet,
    Stoppage,
    Table,
    User,
    WearSet,
)
from shopfloor.nests.plate_needed import plates
from shopfloor.runs.arcs import to_us
from telemetry.models import Arc, Feed

Example = tuple[str, list[Any]]  # what is said of it, the address's arguments
Found = Callable[[], list[Example]]


def _ends(rows: QuerySet[Any], field: str = "pk", order: str = "pk") -> list[Example]:
    """The newest row's field and the oldest one's."""
    values = rows.order_by(f"-{order}").values_list(field, flat=True)[:1]
    oldest = rows.order_by(order).values_list(field, flat=True)[:1]
    found = [
        (said, [one]) for said, some in (("newest", values), ("oldest", oldest)) for one in some
    ]
    return found if len({str(args) for _said, args in found}) > 1 else found[:1]


def _plates() -> list[Example]:
    return [("first", [one.material.pk, one.key]) for one in plates()[:1]]


def _of(kind: Any, field: str = "pk", order: str = "pk") -> Found:
    return lambda: _ends(kind.objects.all(), field, order)


def _finished() -> QuerySet[Run]:
    return Run.objects.filter(state=RunState.FINISHED)


def _lines() -> list[Example]:
    found = [JobLine.objects.order_by(order)[0] for order in ("-pk", "pk")]
    return [
        (said, [line.job_id, line.number])
        for said, line in zip(("newest", "oldest"), found, strict=True)
    ]


def _open_month() -> list[Example]:
    last = Month.objects.filter(closed_at=None).order_by("first_day")[:1]
    return [("open", [f"{month.first_day:%Y-%m}"]) for month in last]


def _at_north(*more: Any) -> Found:
    """A terminal's page, at the first table."""
    return lambda: [("", [Table.objects.order_by("order")[0].code, *more])]


def _runmap() -> list[Example]:
    run = Run.objects.order_by("-opened_at").select_related("table")[0]
    return [("newest", [run.table.code, run.pk])]


def _map() -> list[Example]:
    table = Table.objects.order_by("order")[0]
    revision = NestRevision.objects.filter(nest__table=table).order_by("-pk")[0]
    return [("newest", [table.code, revision.pk])]


def figures() -> list[Example]:
    """Every kind of opened figure, of the newest finished run, its job and month, and of the
    oldest."""
    found: list[Example] = []
    for said, order in (("newest", "-opened_at"), ("oldest", "opened_at")):
        run = _finished().order_by(order).select_related("table", "revision")[0]
        found += [(f"{kind} {said}", [kind.split()[0], key]) for kind, key in _of_run(run)]
    found += _square()
    stop = to_us(timezone.now())
    table = Table.objects.order_by("order")[0]
    found += [(kind, [kind, f"{table.code}@{stop}"]) for kind in ("shift", "pace", "outlook")]
    day = RunDay.objects.order_by("-shift_date")[0].shift_date
    since = f"{day - timedelta(days=90)}:{day}:{table.pk}"
    found += [(f"measure {what}", ["measure", f"{since}:{what}"]) for what in ("oee", "apt", "pq")]
    taught = factor_board(now=timezone.now()).rows[:1]
    found += [("factor", ["factor", row.key]) for row in taught if row.runs]
    return found


def _of_run(run: Run) -> list[tuple[str, str]]:
    line = Contour.objects.filter(revision=run.revision).exclude(line=None)[0].line
    posting = Posting.objects.filter(run=run, line=line).exclude(kind="wear").order_by("pk")[0]
    fitting = Fitting.objects.filter(torch__table=run.table, fitted_at__lte=run.opened_at)
    arc = Arc.objects.filter(table=run.table.code, on_us__gte=to_us(run.opened_at))
    plan = NestPlan.objects.filter(revision=run.revision, table=run.table).order_by("pk")[0]
    day, month = posting.shift_date, posting.month.first_day
    job, number = (
        posting.line.job_id if posting.line else 0,
        posting.line.number if posting.line else 0,
    )
    kind = posting.kind
    term = next(iter(RunVariance.objects.get(run=run).terms))
    return [
        ("run", str(run.pk)), ("run_term", f"{run.pk}:{term}"), ("plan", str(plan.pk)),
        ("piece", str(fitting.order_by("-fitted_at")[0].piece_id)),
        ("arc", arc.order_by("on_us")[0].key), ("posting", str(posting.pk)),
        ("job", str(job)), ("job_kind", f"{job}:{kind}"), ("job_line", f"{job}:{number}"),
        ("job_line_kind", f"{job}:{number}:{kind}"), ("job_plan", str(job)),
        ("job_term", f"{job}:{term}"), ("month", f"{month}"),
        ("month_kind", f"{month}:{kind}"), ("month_kind wear", f"{month}:wear"),
        ("month_job", f"{month}:{job}"), ("month_job the shop", f"{month}:0"),
        ("month_job_kind", f"{month}:{job}:{kind}"), ("month_term", f"{month}:stoppages"),
        ("month_term job", f"{month}:{term}:{job}"),
        ("month_plate", f"{month}:{_plate(run)}"),
        ("day", f"{day}:{run.revision.nest.wear_set.duty}"),
    ]  # fmt: skip


def _square() -> list[Example]:
    """A job of the newest month that was cut fine though nothing was asked of its edge."""
    month = Month.objects.order_by("-first_day")[0].first_day
    jobs = squareness(first_day=month).runs["job_id"][:1]
    return [("squareness", ["squareness", f"{month}:{job}"]) for job in jobs]


def _plate(run: Run) -> str:
    nest = run.revision.nest
    return f"{nest.material.code}:{nest.thickness_mm:g}:{nest.wear_set.duty}"


EXAMPLES: dict[str, Found] = {
    "job": _of(Job), "traveler": _of(Job), "job_edit": _of(Job), "job_quote": _of(Job),
    "job_line_add": _of(Job), "job_cost": _of(Job), "job_line": _lines,
    "job_import_undo": _of(JobList),
    "nest": _of(Nest), "setup": _of(Nest), "nest_edit": _of(Nest), "nest_parts": _of(Nest),
    "nest_revise": _of(Nest), "queue_put": _of(Nest), "nest_routes": _of(Nest),
    "nest_program": _of(NestRevision), "plan": _of(NestPlan), "drawing": _of(Drawing),
    "known_part": _of(KnownPart),
    "drawing_revise": _of(Drawing), "drawing_file": _of(DrawingRevision),
    "chart_row": _of(ChartRow), "trial": _of(ChartTrial), "table_figures": _of(Table),
    "set": _of(WearSet), "tray_make": _of(WearSet), "part_same": _of(SetPart),
    "piece": _of(Piece), "piece_look": _of(Piece),
    "inspection_photo": lambda: _ends(Inspection.objects.exclude(photo="")),
    "sheet": _of(Sheet), "heat": _of(Heat),
    "certificate": lambda: _ends(Heat.objects.exclude(certificate="")),
    "source": _of(Feed, "name"), "source_change": _of(Feed, "name"),
    "source_entered": _of(Feed, "name"), "person": _of(User),
    "incoming": _of(Incoming), "incoming_how_far": _of(Incoming),
    "help": lambda: [("supervisor", ["supervisor"])],
    "reason": _of(Stoppage, "pk", "started_at"),
    "run": lambda: _ends(_finished(), "pk", "opened_at"),
    "run_complete": lambda: _ends(_finished(), "pk", "opened_at"),
    "rate_correct": _of(Rate), "sheet_correct": _of(Sheet), "table_rename": _of(Table),
    "source_count": _of(Feed, "name"), "plate": _plates,
    "figure": figures, "quote": _of(Quote), "quote_paper": _of(Quote),
    "month_close": _open_month,
    "floor:table": _at_north(), "floor:state": _at_north(), "floor:map": _map,
    "floor:runmap": _runmap,
}  # fmt: skip


def queries() -> dict[str, list[tuple[str, str]]]:
    """Other ways a page is asked for, by its name: what people type, choose and turn to. Each with
    what is said of it, which holds in every shop."""
    job, nest = Job.objects.order_by("-pk")[0], Nest.objects.order_by("-pk")[0]
    months = [f"{day:%Y-%m}" for day in Month.objects.values_list("first_day", flat=True)]
    days = RunDay.objects.order_by("shift_date").values_list("shift_date", flat=True).distinct()
    piece = Fitting.objects.filter(removed_at=None).order_by("pk")[0].piece_id
    return {
        "find": [("part of a number", "q=K-1"), ("nothing", "q=zzzz"),
                 ("job", f"q={job.number}&list=1"), ("nest", f"q={nest.name}&list=1")],
        "jobs": [("closed", "state=closed"), ("part of a number", "state=all&q=K-1"),
                 ("second leaf", "state=closed&page=2")],
        "nests": [("part of a number", "q=K-1"), ("second leaf", "page=2")],
        "drawings": [("part of a name", "q=br")],
        "known_parts": [("part of a name", "q=br")], "heats": [("part of a number", "q=2")],
        "stock": [("cut", "state=cut"), ("second leaf", "state=cut&page=2"), ("number", "q=S-1")],
        "checks": [("kerf", "measure=kerf")], "wear": [("piece", f"piece={piece}")],
        "measures": [("13 weeks", "days=91")], "arcs": _loose(),
        "glance": [("month", "of=month")], "notes": [("yesterday", f"day={days.reverse()[1]}")],
        "today": [("yesterday", f"day={days.reverse()[1]}"), ("oldest", f"day={days[0]}")],
        "cost": [("closed month", f"month={months[-2:][0]}"),
                 ("oldest month", f"month={months[0]}"), ("all jobs", "all=1"),
                 ("a term", "term=stoppages")],
        "balance": [("13 weeks", "days=91")], "source": [("all refused", "rejects=all")],
    }  # fmt: skip


def reported_days() -> Callable[[str], int | None]:
    """How many days of the shop a page tells of, by what is said of it: a shop of six weeks has
    neither thirteen weeks nor, in its first month, a whole one. None: a page not of days."""
    days = RunDay.objects.order_by("shift_date").values_list("shift_date", flat=True).distinct()
    first, last = days.first(), days.last()
    if first is None or last is None:
        return lambda label: None
    month = sum(day.replace(day=1) == first.replace(day=1) for day in days)
    quarter = days.filter(shift_date__gt=last - timedelta(days=91)).count()

    def of(label: str) -> int | None:
        if label.endswith("13 weeks") or label.startswith("figure measure "):  # of 91 days too
            return quarter
        return month if "month" in label and label.endswith(("oldest", "oldest month")) else None

    return of


def _loose() -> list[tuple[str, str]]:
    """The newest arc that belongs to no run; a small shop may have none."""
    tied = ArcAssignment.objects.filter(arc_key=OuterRef("key"))
    key = Arc.objects.filter(~Exists(tied)).order_by("-on_us").values_list("key", flat=True).first()
    return [("newest", f"first={key}")] if key else []
