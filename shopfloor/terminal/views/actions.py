"""Where entries from the floor arrive, in the order they were made."""

from __future__ import annotations

import json
import logging
from typing import Any

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_POST

from shopfloor.errors import FloorError
from shopfloor.models import Table, Terminal
from shopfloor.services.actions import action_receive, public_result
from shopfloor.terminal.access import at_table
from shopfloor.terminal.tokens import entry_person

log = logging.getLogger(__name__)
MOST = 100  # entries in one delivery


@require_POST
@at_table
def deliver(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    """Answers with what became of each entry. Entries without an answer were not looked at, and
    the device sends them again."""
    try:
        entries = json.loads(request.body, parse_constant=no_number)["actions"]
        if not isinstance(entries, list) or len(entries) > MOST:
            raise ValueError(f"a delivery is a list of at most {MOST} entries")
    except (ValueError, KeyError, TypeError, RecursionError) as problem:
        return JsonResponse({"message": f"This is no delivery: {problem}"}, status=400)
    results: list[dict[str, Any]] = []
    for entry in entries:
        try:
            results.append(one(entry, terminal, table))
        except OperationalError:
            log.warning("the database is busy; %s entries wait", len(entries) - len(results))
            break
    return JsonResponse({"results": results})


def one(entry: Any, terminal: Terminal, table: Table) -> dict[str, Any]:
    """What became of one entry. One that breaks the program is logged in full and answered as
    refused, so that those behind it do not wait for ever."""
    if not isinstance(entry, dict):
        return {"id": None, "state": "refused", "message": "This is no entry."}
    person = entry_person(token=str(entry.get("by", "")), terminal=terminal)
    if person is None:
        return refused(entry, "Nobody known entered this here.", "Sign in and enter it again.")
    payload = entry.get("payload")
    if isinstance(payload, dict):
        payload = {**payload, "table": table.code}
    try:
        action = action_receive(
            envelope={
                "id": entry.get("id"),
                "kind": entry.get("kind"),
                "payload": payload,
                "at": entry.get("device_at"),
                "sent_at": entry.get("sent_at"),
            },
            person=person,
            terminal=terminal,
            now=timezone.now(),
        )
    except FloorError as problem:
        return refused(entry, problem.message, problem.hint)
    except OperationalError:
        raise
    except Exception:
        log.exception("an entry from terminal %s broke: %r", terminal.code, entry)
        return refused(entry, "The program could not take this.", "The office finds it in the log.")
    return public_result(action)


def no_number(text: str) -> None:
    """Python reads NaN and Infinity where JSON has none, and what is answered must be JSON."""
    raise ValueError(f"{text} is no number")


def refused(entry: dict[str, Any], message: str, hint: str) -> dict[str, Any]:
    return {"id": entry.get("id"), "state": "refused", "message": message, "hint": hint}
