"""What the shift leaves to the next: written by the program, put right by a person, kept."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from dashboards import data
from dashboards.access import desk, reader_of
from planning.reports.hand_over import Draft, ShiftDrafts
from shopfloor.errors import FloorError
from shopfloor.notes.hand_overs import hand_over_write, hand_overs_of, written_us
from shopfloor.people.rights import ASSIGN
from shopfloor.wording.numbers_in import row_number


@desk(ASSIGN)
def write(request: HttpRequest) -> HttpResponseBase:
    """A text for each table of the shift that is on or was on last."""
    now = data.now()
    found = data.hand_over_drafts(now, inch=reader_of(request.user).inch)
    refused: dict[int, str] = {}
    if request.method == "POST" and found is not None and _same_shift(request, found):
        refused = _saved(request, found, now)
        if not refused:
            messages.success(request, _("It is kept for the next shift."))
            return redirect("today")
    elif request.method == "POST":
        messages.error(request, _("That shift is over for good; nothing was written."))
    context = {"found": found, "fields": _fields(request, found, refused) if found else []}
    return render(request, "kerfbook/today/hand_over.html", context)


def _same_shift(request: HttpRequest, found: ShiftDrafts) -> bool:
    """A page left open over the end of a shift writes nothing for the next one."""
    return request.POST.get("shift") == f"{found.shift_date.isoformat()} {found.shift}"


def _saved(request: HttpRequest, found: ShiftDrafts, now: datetime) -> dict[int, str]:
    """What was refused, by table."""
    user: Any = request.user
    refused = {}
    for draft in found.drafts:
        text = request.POST.get(f"text-{draft.table_id}")
        if text is None:
            continue
        try:
            hand_over_write(
                table_id=draft.table_id,
                shift_date=found.shift_date,
                shift=found.shift,
                text=text,
                drafted=draft.text,
                seen_us=row_number(request.POST.get(f"seen-{draft.table_id}", "")),
                by=user,
                now=now,
            )
        except FloorError as error:
            refused[draft.table_id] = f"{error.message} {error.hint}".strip()
    return refused


def _fields(
    request: HttpRequest, found: ShiftDrafts, refused: dict[int, str]
) -> list[dict[str, Any]]:
    kept = hand_overs_of(found.shift_date, found.shift)
    return [_field(request, draft, kept.get(draft.table_id), refused) for draft in found.drafts]


def _field(request: HttpRequest, draft: Draft, row: Any, refused: dict[int, str]) -> dict[str, Any]:
    text = draft.text if row is None else row.text
    if draft.table_id in refused:
        text = request.POST.get(f"text-{draft.table_id}", text)
    return {
        "draft": draft,
        "text": text,
        "row": row,
        "seen": "" if row is None else written_us(row),
        "refused": refused.get(draft.table_id, ""),
    }
