"""From what a note says can be done to the address where it is done."""

from __future__ import annotations

from typing import Any

from django.urls import NoReverseMatch, reverse

from dashboards.access import Sight
from planning.reports.shapes import Act, Note

# code -> URL name, the name of its argument. Blank argument: a page without one.
PLACES: dict[str, tuple[str, str]] = {
    "run": ("run", "run_id"),
    "job": ("job", "pk"),
    "nest": ("nest", "pk"),
    "queue": ("queue", ""),
    "wear": ("wear", ""),
    "feed": ("source", "name"),
    "reason": ("reason", "stoppage_id"),
    "assign_arcs": ("arcs", ""),
}


def act_view(act: Act, sight: Sight, *, second: bool) -> dict[str, Any] | None:
    """What the note's template draws for an act: a link, or a form that does it in one press.
    None where this person may not, or where the page is not there."""
    if act.code in ("assign_arcs", "reason") and not sight.assign:
        return None
    if act.code == "feed" and not sight.feeds:
        return None
    url = address(act.code, act.target)
    if url is None:
        return None
    if act.code == "assign_arcs":
        first, _, run_id = act.target.rpartition("@run:")
        if first:
            fields = {"first_key": first, "run_id": run_id, "arcs": "600"}
            give = reverse("arcs_give")
            return {
                "label": act.label,
                "url": give,
                "post": True,
                "second": second,
                "fields": fields,
            }
    return {"label": act.label, "url": url, "second": second}


def address(code: str, target: str) -> str | None:
    """The address of a code and target; None for a code this house has no page for."""
    place = PLACES.get(code)
    if place is None:
        return None
    name, argument = place
    try:
        if code == "assign_arcs":
            return f"{reverse(name)}?first={_quoted(target.partition('@run:')[0])}"
        if code == "wear" and target:
            return f"{reverse(name)}?piece={_quoted(target)}"
        if code == "queue" and target:
            return f"{reverse(name)}?table={_quoted(target)}"
        return reverse(name, kwargs={argument: target}) if argument else reverse(name)
    except NoReverseMatch:
        return None


def _quoted(text: str) -> str:
    from urllib.parse import quote

    return quote(text, safe="")


def note_view(note: Note, sight: Sight) -> dict[str, Any]:
    """A note as `_note.html` draws it: its first act is the one, the rest are other ways."""
    drawn = [act_view(act, sight, second=index > 0) for index, act in enumerate(note.acts)]
    return {
        "kind": note.kind,
        "head": note.head,
        "body": note.body,
        "actions": [act for act in drawn if act is not None],
    }
