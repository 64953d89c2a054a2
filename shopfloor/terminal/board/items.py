"""What comes next on a table, each with what its start has to ask."""

from __future__ import annotations

import json
from dataclasses import dataclass, field

from shopfloor.models import NestPlan, NestRevision, QueueItem, Sheet, Table, WearSet
from shopfloor.terminal.board.cautions import Caution, metal_caution
from shopfloor.terminal.board.words import Facts, about, facts_of, nest_title, part_names, set_words

SHOWN = 3
SHEETS_SHOWN = 6
THICKNESS_SLACK_MM = 0.01
SWAP_REASONS = (
    "planned one not found",
    "planned one damaged",
    "remnant used first",
    "planned one buried",
    "supervisor said so",
)
KEEP_REASONS = ("no parts for the other", "rush, cut it anyway", "supervisor said so")
ASIDE_REASONS = (
    ("rush", "Rush job"),
    ("power", "Power lost"),
    ("crash", "Crash"),
    ("shift", "End of shift"),
    ("other", "Something else"),
)


@dataclass(frozen=True, slots=True)
class SheetKey:
    code: str
    words: str


@dataclass(frozen=True, slots=True)
class Item:
    pk: int
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
    fitted_words: str
    set_right: bool | None
    change_words: str
    caution: Caution | None
    wanted: WearSet
    sheets: list[SheetKey] = field(default_factory=list)


def items_of(table: Table, fitted: WearSet | None) -> list[Item]:
    rows = QueueItem.objects.filter(table=table, state="waiting").select_related(
        "nest__material", "nest__wear_set", "sheet__heat"
    )
    found = []
    for row in rows.order_by("position", "pk")[:SHOWN]:
        revision = row.nest.revisions.defer("program").order_by("-revision").first()
        if revision is not None:
            found.append(item_of(row, revision, table, fitted))
    return found


def item_of(row: QueueItem, revision: NestRevision, table: Table, fitted: WearSet | None) -> Item:
    nest, sheet, facts = row.nest, row.sheet, facts_of(revision)
    right = None if fitted is None else fitted.pk == nest.wear_set_id
    made = [part_names(facts), f"{nest.thickness_text} {nest.material.name}"]
    heat = sheet.heat if sheet else None
    return Item(
        pk=row.pk,
        title=nest_title(revision, facts),
        what=f"{', '.join(part for part in made if part)}, program {revision.file_name}.",
        plan_words=plan_words(revision, table, nest.wear_set),
        payload=json.dumps({"queue_item": row.pk}),
        codes=json.dumps(codes_of(row, revision, facts)),
        revision=revision.pk,
        sheet=sheet.code if sheet else "",
        sheet_words=sheet_words(sheet),
        heat_words=f"Mark heat {heat.number} on what stays before it is cut away." if heat else "",
        set_words=set_words(nest.wear_set),
        fitted_words=set_words(fitted),
        set_right=right,
        change_words={True: "no change", False: "change the set", None: "set unknown"}[right],
        caution=metal_caution(nest.material.caution),
        wanted=nest.wear_set,
        sheets=[] if sheet else sheets_for(row),
    )


def sheet_words(sheet: Sheet | None) -> str:
    if sheet is None:
        return "No sheet is planned"
    kind = "Remnant" if sheet.parent_id else "Sheet"
    return f"{kind} {sheet.code}" + (f", {sheet.place}" if sheet.place else "")


def plan_words(revision: NestRevision, table: Table, wear_set: WearSet) -> str:
    plan = NestPlan.objects.filter(revision=revision, table=table, wear_set=wear_set).first()
    if plan is None or plan.total_s is None:
        return "No plan for this table and set"
    return f"About {about(plan.total_s)} planned"


def codes_of(row: QueueItem, revision: NestRevision, facts: Facts) -> list[str]:
    """What is printed on papers that lead here: traveler, setup sheet, the sheet itself."""
    sheet = [row.sheet.code] if row.sheet else []
    return [row.nest.name, revision.file_name, *sheet, *facts.jobs]


def sheets_for(row: QueueItem) -> list[SheetKey]:
    """Sheets in stock that fit a nest nobody planned a sheet for, remnants first."""
    nest = row.nest
    found = Sheet.objects.filter(
        state="in_stock",
        material=nest.material,
        thickness_mm__range=(
            nest.thickness_mm - THICKNESS_SLACK_MM,
            nest.thickness_mm + THICKNESS_SLACK_MM,
        ),
    ).order_by("area_mm2", "code")
    return [
        SheetKey(one.code, f"{one.length_mm:.0f} x {one.width_mm:.0f} mm {one.place}".strip())
        for one in found[:SHEETS_SHOWN]
    ]
