"""What a browser sends to ask a Dash page for a part of itself, held against what the page has."""

from __future__ import annotations

import json
from typing import Any

from dash import Dash
from django.core.exceptions import BadRequest
from django.utils.translation import gettext as _

KEPT = ("id", "property", "value")


def asked(app: Dash, body: bytes) -> bytes:
    """The same question, made up anew from its checked parts, so that Dash sees nothing it does
    not expect. Every value is an address's text or nothing: our pages ask with no others. Raises
    BadRequest."""
    try:
        said = json.loads(body)
        known = app.callback_map[said["output"]]
        name, _dot, prop = said["output"].rpartition(".")
        question: dict[str, Any] = {
            "output": said["output"],
            "outputs": {"id": name, "property": prop},
            "inputs": _values(said.get("inputs"), known["inputs"]),
            "state": _values(said.get("state") or [], known["state"]),
        }
        changed = [one for one in said.get("changedPropIds") or [] if isinstance(one, str)]
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        raise BadRequest(_("This page does not ask that. Load it again.")) from None
    inputs = {f"{one['id']}.{one['property']}" for one in known["inputs"]}
    question["changedPropIds"] = [one for one in changed if one in inputs]
    return json.dumps(question).encode()


def _values(said: Any, known: list[dict[str, str]]) -> list[dict[str, Any]]:
    """One value for each the callback takes, in its order. Raises LookupError, TypeError."""
    found = []
    for one, wanted in zip(said, known, strict=True):
        if any(one[part] != wanted[part] for part in ("id", "property")):
            raise LookupError(_("{one!r} is not {wanted!r}").format(one=one, wanted=wanted))
        if not isinstance(one.get("value"), str | None):
            raise TypeError("a value is text or nothing")
        found.append({part: one.get(part) for part in KEPT})
    return found
