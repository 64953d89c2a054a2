"""What comes next on a table, each with what its start has to ask."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Value, Window
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import (
    Nest,
    NestPlan,
    NestRevision,
    QueueItem,
    Run,
    RunState,
    Sheet,
    Table,
    WearSet,
)
from shopfloor.nests.papers import Place, paper_codes
from shopfloor.nests.queries import sheets_for as sheets_serving
from shopfloor.runs.progress import progress_of
from shopfloor.runs.queries import runs_set_aside, set_aside_run
from shopfloor.stock.plate_fit import size_words
from shopfloor.terminal.words import Facts, about, day_clock, nest_title, part_names, set_words
from shopfloor.wording.cautions import Caution, metal_caution

Fitted = dict[str, WearSet | None]  # what is in each torch, by the torch's code
SHOWN = 3
SHEETS_SHOWN = 6
PLATE_REASONS = (
    N_("wrong one was lifted"),
    N_("another code was scanned"),
    N_("wrong thickness or grade"),
    N_("flaw in the plate"),
    N_("supervisor said so"),
)
SWAP_REASONS = (
    N_("planned one not found"),
    N_("planned one damaged"),
    N_("remnant used first"),
    N_("planned one buried"),
    N_("supervisor said so"),
)
KEEP_REASONS = (N_("no parts for the other"), N_("rush, cut it anyway"), N_("supervisor said so"))
ASIDE_REASONS = (
    ("rush", N_("Rush job")),
    ("power", N_("Power lost")),
    ("crash", N_("Crash")),
    ("shift", N_("End of shift")),
    ("other", N_("Something else")),
)


@dataclass(frozen=True, slots=True)
class SheetKey:
    code: str
    words: str


@dataclass(frozen=True, slots=True)
class SetFit:
    """What is in one torch, and whether a nest wants it (None: nothing is on record there)."""

    code: str
    words: str
    right: bool | None


@dataclass(frozen=True, slots=True)
class Item:
    pk: str
    title: str
    what: str
    plan_words: str
    payload: str
    codes: str
    revision: int
    sheet: str
    sheet_words: str
    heat_words: str
    set_words: str
    fits: list[SetFit]  # one for each torch of the table
    change_words: str
    caution: Caution | None
    wanted: WearSet
    sheets: list[SheetKey] = field(default_factory=list)
    note: str = ""


def waiting(table: Table) -> QuerySet[QueueItem]:
    """What can be started here: sheets set aside half burnt, then the list in its order."""
    rows = QueueItem.objects.filter(table=table)
    # Mostly no sheet was taken off: to see that is a small read, to look which were is a large one.
    if rows.filter(state="running", runs__state=RunState.STOPPED).exists():
        aside = Exists(runs_set_aside().filter(queue_item=OuterRef("pk")))
        rows = rows.annotate(aside=aside)
        rows = rows.filter(Q(state="waiting") | Q(state="running", aside=True))
    else:
        rows = rows.filter(state="waiting").annotate(aside=Value(False))
    return rows.select_related("nest__material", "nest__wear_set", "sheet__heat").order_by(
        "-aside", "position", "pk"
    )


def first_waiting(table: Table) -> tuple[list[QueueItem], int]:
    """The rows a screen has room for, and how many there are; one query."""
    rows = list(waiting(table).annotate(whole=Window(Count("pk")))[:SHOWN])
    return [*rows], int(vars(rows[0])["whole"]) if rows else 0


@dataclass(frozen=True, slots=True)
class Listed:
    """A row of the list and its nest's newest revision."""

    row: QueueItem
    revision: NestRevision


def listed(rows: Iterable[QueueItem]) -> list[Listed]:
    """Those with a program; one query."""
    rows = list(rows)
    revisions = NestRevision.objects.filter(nest__in={row.nest_id for row in rows})
    newest = {one.nest_id: one for one in revisions.defer("program").order_by("revision")}
    return [Listed(row, newest[row.nest_id]) for row in rows if row.nest_id in newest]


def items_of(
    found: Sequence[Listed],
    facts: Mapping[int, Facts],
    table: Table,
    fitted: Fitted,
    *,
    inch: bool = False,
) -> list[Item]:
    """`facts` by revision id."""
    plans = _plans(found, table)
    places = [
        Place(
            one.row.nest, one.revision, one.row.table_id, plans.get(_route(one, one.row.table_id)),
            facts[one.revision.pk].jobs,
        )
        for one in found
    ]  # fmt: skip
    return [
        _item(
            one,
            table,
            facts[one.revision.pk],
            plans.get(_route(one, table.pk)),
            codes,
            fitted,
            inch=inch,
        )
        for one, codes in zip(found, paper_codes(places), strict=True)
    ]


Route = tuple[int, int, int]  # revision, table, set


def _route(one: Listed, table_id: int) -> Route:
    return one.revision.pk, table_id, one.row.nest.wear_set_id


def _plans(found: Sequence[Listed], table: Table) -> dict[Route, NestPlan]:
    """Plans of the table a row waits at, and of this one."""
    plans = NestPlan.objects.filter(
        revision__in={one.revision.pk for one in found},
        table__in={table.pk, *(one.row.table_id for one in found)},
        wear_set__in={one.row.nest.wear_set_id for one in found},
    ).defer("arcs_s")
    return {(plan.revision_id, plan.table_id, plan.wear_set_id): plan for plan in plans}


def _item(
    one: Listed,
    table: Table,
    facts: Facts,
    plan: NestPlan | None,
    papers: list[str],
    fitted: Fitted,
    *,
    inch: bool,
) -> Item:
    row, revision, nest = one.row, one.revision, one.row.nest
    half = set_aside_run(item=row, nest=nest, table=table) if half_burnt(row) else None
    sheet = half.sheet if half else row.sheet
    fits = [set_fit(code, inside, nest) for code, inside in fitted.items()]
    made = [part_names(facts), f"{nest.thickness_text} {nest.material.name}"]
    heat = sheet.heat if sheet else None
    return Item(
        pk=str(row.pk) if row.pk else f"nest-{nest.pk}",
        title=nest_title(revision, facts),
        what=_("{made}, program {file_name}.").format(
            made=", ".join(part for part in made if part), file_name=revision.file_name
        ),
        plan_words=half_burnt_text(half) if half else plan_words(plan),
        payload=json.dumps({"queue_item": row.pk} if row.pk else {"revision": revision.pk}),
        codes=json.dumps(codes_of(row, revision, facts, papers)),
        revision=revision.pk,
        sheet=sheet.code if sheet else "",
        sheet_words=sheet_words(sheet, half=half is not None),
        heat_words=_("Mark heat {heat} on what stays before it is cut away.").format(
            heat=heat.number
        )
        if heat
        else "",
        set_words=set_words(nest.wear_set),
        fits=fits,
        change_words=change_words(fits),
        caution=metal_caution(nest.material.caution),
        wanted=nest.wear_set,
        sheets=[] if sheet or half else sheets_for(nest, revision, inch=inch),
    )


def set_fit(code: str, inside: WearSet | None, nest: Nest) -> SetFit:
    right = None if inside is None else inside.pk == nest.wear_set_id
    return SetFit(code, set_words(inside), right)


def change_words(fits: list[SetFit]) -> str:
    """No change; in torch 2; change the set; set unknown."""
    right = next((fit for fit in fits if fit.right), None)
    if right is not None:
        return _("no change") if len(fits) == 1 else _("in torch {right}").format(right=right.code)
    return (
        _("set unknown")
        if any(fit.right is None for fit in fits) or not fits
        else _("change the set")
    )


def half_burnt(row: QueueItem) -> bool:
    """A start of this may carry a run on: of the list's own item, or of a nest on no list."""
    return row.pk is None or row.state == "running"


def half_burnt_text(run: Run) -> str:
    last = run.segments.order_by("-started_at", "-pk").first()
    progress = progress_of(run).words
    if last is None or last.ended_at is None:
        return _("Half burnt: {progress}, set aside").format(progress=progress)
    return _("Half burnt: {progress}, set aside since {at}").format(
        progress=progress, at=day_clock(last.ended_at, timezone.now())
    )


def sheet_words(sheet: Sheet | None, *, half: bool = False) -> str:
    if sheet is None:
        return _("Half burnt, sheet not scanned") if half else _("No sheet is planned")
    kind = _("Half burnt sheet") if half else _("Remnant") if sheet.parent_id else _("Sheet")
    return f"{kind} {sheet.code}" + (f", {sheet.place}" if sheet.place else "")


def plan_words(plan: NestPlan | None) -> str:
    if plan is None or plan.total_s is None:
        return _("No plan for this table and set")
    taken = about(plan.total_s)
    return _("{time} planned").format(time=f"{taken[0].upper()}{taken[1:]}")


def codes_of(row: QueueItem, revision: NestRevision, facts: Facts, papers: list[str]) -> list[str]:
    """What is printed on papers that lead here: traveler, setup sheet, the sheet itself."""
    sheet = [row.sheet.code] if row.sheet else []
    return [row.nest.name, revision.file_name, *sheet, *facts.jobs, *papers]


def sheets_for(
    nest: Nest, newest: NestRevision | None = None, *, inch: bool = False
) -> list[SheetKey]:
    """Sheets in stock that serve a nest and are promised to none, remnants first."""
    return [
        SheetKey(one.code, f"{size_words(one.length_mm, one.width_mm, inch)} {one.place}".strip())
        for one in sheets_serving(nest, newest)[:SHEETS_SHOWN]
    ]
