"""Where entries from the floor arrive, in the order they were made."""

from __future__ import annotations

import json
import logging
from typing import Any

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shopfloor.actions.services import action_receive, public_result
from shopfloor.errors import FloorError
from shopfloor.models import ScreenSignIn, Table, Terminal
from shopfloor.terminal.access import this_terminal
from shopfloor.terminal.tokens import entry_signin
from shopfloor.web.raw_body import raw_body

log = logging.getLogger(__name__)
MOST = 100  # entries in one delivery
MOST_BYTES = 6 * 1024 * 1024  # the 20 a screen sends at once, each as large as one may be
LOGGED = 2000  # letters of an entry that broke


@require_POST
def deliver(request: HttpRequest, table: str) -> HttpResponse:
    """Answers with what became of each entry. Entries without an answer were not looked at, and
    the device sends them again. A screen that was moved delivers what was made where it stood."""
    terminal = this_terminal(request)
    found = Table.objects.filter(code=table).first()
    if terminal is None or found is None or not stood_at(terminal, found):
        return HttpResponse(_("This screen is not registered for that table."), status=403)
    if int(request.META.get("CONTENT_LENGTH") or 0) > MOST_BYTES:
        words = _("A delivery is at most {most_bytes} MB: send fewer entries at once.").format(
            most_bytes=MOST_BYTES // 1024**2
        )
        return JsonResponse({"message": words}, status=413)
    return delivered(request, terminal, found)


def stood_at(terminal: Terminal, table: Table) -> bool:
    """Whether entries of this table may come from this screen: it stands there, or somebody was
    signed in on it when it did."""
    if terminal.table_id is None or terminal.table_id == table.pk:
        return table.active
    return ScreenSignIn.objects.filter(terminal=terminal, table=table).exists()


def delivered(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    try:
        entries = json.loads(raw_body(request), parse_constant=no_number)["actions"]
        if not isinstance(entries, list) or len(entries) > MOST:
            raise ValueError(_("a delivery is a list of at most {most} entries").format(most=MOST))
    except (ValueError, KeyError, TypeError, RecursionError) as problem:
        return JsonResponse(
            {"message": _("This is not a delivery: {problem}").format(problem=problem)}, status=400
        )
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
        return {"id": None, "state": "refused", "message": _("This is not an entry.")}
    signin = entry_signin(token=str(entry.get("by", "")), terminal=terminal, table=table)
    if signin is None:
        return refused(
            entry, _("Nobody known entered this here."), _("Sign in and enter it again.")
        )
    try:
        action = action_receive(
            envelope={
                "id": entry.get("id"),
                "kind": entry.get("kind"),
                "payload": entry.get("payload"),
                "at": entry.get("device_at"),
                "sent_at": entry.get("sent_at"),
                "age_ms": entry.get("age_ms"),
                "known_ms": entry.get("known_ms"),
            },
            person=signin.person,
            terminal=terminal,
            now=timezone.now(),
            table=table,
            signin=signin,
        )
    except FloorError as problem:
        return refused(entry, problem.message, problem.hint)
    except OperationalError:
        raise
    except Exception:
        log.exception("an entry from terminal %s broke: %s", terminal.code, repr(entry)[:LOGGED])
        return refused(
            entry, _("The program could not take this."), _("The office finds it in the log.")
        )
    return public_result(action)


def no_number(text: str) -> None:
    """Python reads NaN and Infinity where JSON has none, and what is answered must be JSON."""
    raise ValueError(_("{text} is not a number").format(text=text))


def refused(entry: dict[str, Any], message: str, hint: str) -> dict[str, Any]:
    return {"id": entry.get("id"), "state": "refused", "message": message, "hint": hint}
