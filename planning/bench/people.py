"""Someone of each role, signed in at a desk and at the first table's screen, in a shop of the
bench's own."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.utils import timezone

from shopfloor.models import Role, Table, User
from shopfloor.services.people import terminal_register

FLOOR = "floor"  # the session's name for who stands at which table


def signed_in() -> dict[str, dict[str, str]]:
    """Cookies by role."""
    table = Table.objects.order_by("order")[0]
    terminal, token = terminal_register(code="bench-screen", name="bench screen", table=table)
    terminal.idle_minutes = 24 * 60  # nobody touches it meanwhile
    terminal.save(update_fields=["idle_minutes"])
    store: Any = import_module(settings.SESSION_ENGINE)
    found = {}
    for role in Role.values:
        user = User.objects.filter(role=role, is_active=True).order_by("pk")[0]
        session = store.SessionStore()
        session[SESSION_KEY] = str(user.pk)
        session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
        session[HASH_SESSION_KEY] = user.get_session_auth_hash()
        if user.has_perm("shopfloor.work_floor"):
            here = {"people": [user.pk], "touched": timezone.now().isoformat()}
            session[FLOOR] = {table.code: here}
        session.save()
        found[role] = {"sessionid": str(session.session_key), "kerfbook_terminal": token}
    return found
