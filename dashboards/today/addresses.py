"""From what a note says can be done to the address where it is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote

from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _

from dashboards.access import Reader
from planning.calc.said import to_reader
from planning.reports.shapes import Act, Note

# code -> URL name, the name of its argument. Blank argument: a page without one.
PLACES: dict[str, tuple[str, str]] = {
    "run": ("run", "run_id"),
    "job": ("job", "pk"),
    "jobs": ("jobs", ""),
    "nest": ("nest", "pk"),
    "queue": ("queue", ""),
    "wear": ("wear", ""),
    "feed": ("source", "name"),
    "sources": ("sources", ""),
    "reason": ("reason", "stoppage_id"),
    "assign_arcs": ("arcs", ""),
    "late": ("late", ""),
    "plate": ("low_stock", ""),
    "verify": ("verification", ""),
    "calendar": ("calendar", ""),
    "measures": ("measures", ""),
    "notes": ("notes", ""),
    "backups": ("backups", ""),
}


def act_view(act: Act, reader: Reader, *, second: bool) -> dict[str, Any] | None:
    """What the note's template draws for an act: a link, or a form that does it in one press.
    None where this person may not, or where the page is not there."""
    if act.code in ("assign_arcs", "reason", "late") and not reader.assign:
        return None
    if act.code in ("feed", "sources", "backups") and not reader.feeds:
        return None
    if act.code == "verify" and not (reader.feeds or reader.close):
        return None
    url = address(act.code, act.target)
    if url is None:
        return None
    return {"label": to_reader(act.label, inch=False), "url": url, "second": second}


def address(code: str, target: str) -> str | None:
    """The address of a code and target; None for a code this house has no page for."""
    place = PLACES.get(code)
    if place is None:
        return None
    name, argument = place
    try:
        if code == "assign_arcs":
            return f"{reverse(name)}?first={quote(target, safe='')}"
        if code == "late" and target:
            return f"{reverse(name)}#entry-{quote(target, safe='')}"
        if code == "wear" and target:
            return f"{reverse(name)}?piece={quote(target, safe='')}"
        if code == "queue" and target:
            return f"{reverse(name)}?table={quote(target, safe='')}"
        return reverse(name, kwargs={argument: target}) if argument else reverse(name)
    except NoReverseMatch:
        return None


def note_view(note: Note, reader: Reader, suggested: Mapping[str, Suggested]) -> dict[str, Any]:
    """A note as `_note.html` draws it: its first act is the one, the rest are other ways. Arcs
    that most likely were one run can be given to it in one press."""
    drawn: list[dict[str, Any] | None] = []
    for act in note.acts:
        guess = suggested.get(act.target) if act.code == "assign_arcs" and reader.assign else None
        if guess is not None:
            drawn.append(give_view(act.target, guess))
        drawn.append(
            act_view(replace(act, label="Other ways") if guess else act, reader, second=bool(drawn))
        )
    return {
        "kind": note.kind,
        "head": note.head,
        "body": to_reader(note.body, inch=reader.inch),
        "actions": [act for act in drawn if act is not None],
        "pk": note.pk,
        "seen": note.seen,
        "seen_by": ", ".join(note.seen) if reader.persons else "",
    }


@dataclass(frozen=True, slots=True)
class Suggested:
    """The run or nest some loose arcs most likely were, and how many arcs that is of."""

    nest: str
    arcs: int
    run_id: str = ""
    revision_id: str = ""


def give_view(first_key: str, guess: Suggested) -> dict[str, Any]:
    """The form that gives them in one press."""
    label = (
        _("Give them to {nest}").format(nest=guess.nest)
        if guess.run_id
        else _("Open a run of {nest}").format(nest=guess.nest)
    )
    fields = {"first_key": first_key, "arcs": str(guess.arcs)}
    fields |= {"run_id": guess.run_id} if guess.run_id else {"revision_id": guess.revision_id}
    return {"label": label, "url": reverse("assign_arcs"), "post": True, "fields": fields}
