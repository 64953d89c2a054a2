"""What the day's page shows beside planning's figures. No money."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max, OuterRef, Subquery, Sum
from django.utils.translation import gettext as _

from shopfloor.models import (
    Action,
    ActionState,
    Change,
    Inspection,
    Nest,
    PieceUse,
    Reason,
    Stoppage,
    Table,
)
from shopfloor.wording.names import first_named
from shopfloor.wording.numbers_in import row_number
from telemetry.models import Arc, Cursor, Health


@dataclass(frozen=True, slots=True)
class ShiftNote:
    """A line somebody left for the next shift."""

    text: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class ReasonChoice:
    code: str
    label: str
    planned: bool


@dataclass(frozen=True, slots=True)
class StoppageSeen:
    id: int
    table: str
    reason: str
    started_at: datetime
    ended_at: datetime | None
    evidence: str
    note: str
    run_id: str


@dataclass(frozen=True, slots=True)
class Inspected:
    """A pit that was measured, at the starts the piece had by then."""

    piece_id: int
    at: datetime
    starts: int
    pit_mm: float


def day_stamp() -> str:
    """Changes whenever a line came in, an arc or a record changed, or a source fell silent."""
    cursor = Cursor.objects.aggregate(line=Max("last_line_us"), changed=Max("changed_us"))
    arc = Arc.objects.order_by("-changed_us").values_list("changed_us", flat=True).first()
    change = Change.objects.order_by("-pk").values_list("pk", flat=True).first()
    links = ",".join(Health.objects.order_by("pk").values_list("link", flat=True))
    return f"{cursor['line']}.{cursor['changed']}.{arc}.{change}.{links}"


def shift_notes(*, since: datetime, until: datetime) -> list[ShiftNote]:
    """Notes written in [since, until), the newest first."""
    rows = (
        Action.objects.filter(kind="note", state=ActionState.APPLIED, at__gte=since, at__lt=until)
        .select_related("person")
        .order_by("-at")[:6]
    )
    return [
        ShiftNote(
            str(row.result.get("text") or row.payload.get("text", "")),
            row.person.shown_name,
            row.at,
        )
        for row in rows
    ]


def reasons() -> list[ReasonChoice]:
    return [
        ReasonChoice(row.code, row.label, row.planned) for row in Reason.objects.filter(active=True)
    ]


def stoppage_seen(stoppage_id: int) -> StoppageSeen:
    """Raises `LookupError` where there is none."""
    row = Stoppage.objects.select_related("table", "reason").filter(pk=stoppage_id).first()
    if row is None:
        raise LookupError(_("There is no stoppage {stoppage_id}.").format(stoppage_id=stoppage_id))
    return StoppageSeen(
        row.pk,
        row.table.name,
        row.reason.label if row.reason else "",
        row.started_at,
        row.ended_at,
        str(row.evidence),
        row.note,
        str(row.run_id or ""),
    )


def inspections(piece_ids: Sequence[int]) -> list[Inspected]:
    """Measured pits of these pieces with their starts at the time: starts of the runs that had
    used it by then, and what it had before it was first on record."""
    used = PieceUse.objects.filter(piece=OuterRef("piece"), at__lte=OuterRef("at")).order_by()
    counted = used.values("piece").annotate(all=Sum("starts")).values("all")
    seen = (
        Inspection.objects.filter(piece__in=list(piece_ids))
        .exclude(pit_mm=None)
        .order_by("at")
        .values_list("piece_id", "at", "pit_mm", "piece__prior_starts", Subquery(counted))
    )
    return [
        Inspected(piece, at, (before or 0) + (starts or 0), pit_mm)
        for piece, at, pit_mm, before, starts in seen
        if pit_mm is not None
    ]


def table_name(code: str) -> str:
    """What people call the table; its code where nobody named it."""
    name = Table.objects.filter(code=code).values_list("name", flat=True).first()
    return name or code


def nest_names() -> list[str]:
    return list(Nest.objects.order_by("-made_at").values_list("name", flat=True))


def nests_offered(most: int = 200) -> list[str]:
    """Names of the newest nests in use, to be offered where one is typed."""
    nests = Nest.objects.filter(withdrawn_at=None).order_by("-made_at")
    return list(nests.values_list("name", flat=True)[:most])


def nest_asked_for(text: str) -> tuple[int, str] | None:
    """The nest of that name, else the newest with it in its name, else the one of that number: its
    id and name. Blank: the newest. None where there is none; withdrawn ones are left out."""
    text = text.strip()[:80]
    nests = Nest.objects.filter(withdrawn_at=None).order_by("-made_at")
    asked = [
        nests.filter(name=text),
        nests.filter(name__iexact=text),
        nests.filter(name__icontains=text),
    ]
    number = row_number(text)
    if number is not None:
        asked.append(nests.filter(pk=number))
    found = (
        (rows.values_list("pk", "name").first() for rows in asked)
        if text
        else (nests.values_list("pk", "name").first(),)
    )
    return next((one for one in found if one is not None), None)


def nest_chosen(text: str) -> int | None:
    """The nest in use of that name, alone or in the words of `nests_to_choose`."""
    rows = Nest.objects.filter(withdrawn_at=None).select_related("material")
    text = text.strip()
    named = first_named(rows, "name", text)
    if named is not None:
        return named.pk
    like = rows.filter(name__iexact=text.rpartition(", ")[0].strip())
    return next((nest.pk for nest in like if _nest_words(nest) == text), None)


def nests_to_choose(most: int = 200) -> list[tuple[int, str]]:
    rows = (
        Nest.objects.filter(withdrawn_at=None)
        .select_related("material")
        .order_by("-made_at")[:most]
    )
    return [(row.pk, _nest_words(row)) for row in rows]


def _nest_words(nest: Nest) -> str:
    return f"{nest.name}, {nest.thickness_text} {nest.material.code}"
