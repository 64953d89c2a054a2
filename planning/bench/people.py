"""Someone of each role, signed in at a desk and at the first table's screen, in a shop of the
bench's own."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.http import HttpRequest

from shopfloor.models import Role, Table, Terminal, User
from shopfloor.people.badges import terminal_register
from shopfloor.terminal.access import COOKIE, crew_joins


def signed_in() -> dict[str, dict[str, str]]:
    """Cookies by role. Each has a screen to himself, which nobody need touch for a day."""
    table = Table.objects.order_by("order")[0]
    store: Any = import_module(settings.SESSION_ENGINE)
    found = {}
    for role in Role.values:
        user = User.objects.filter(role=role, is_active=True).order_by("pk")[0]
        terminal, token = terminal_register(code=f"bench-{role}", name=f"bench {role}", table=table)
        Terminal.objects.filter(pk=terminal.pk).update(idle_minutes=24 * 60)
        request: Any = HttpRequest()
        request.session = store.SessionStore()
        crew_joins(request, terminal, table, user, alone=True)
        request.session[SESSION_KEY] = str(user.pk)
        request.session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
        request.session[HASH_SESSION_KEY] = user.get_session_auth_hash()
        request.session.save()
        found[role] = {settings.SESSION_COOKIE_NAME: request.session.session_key, COOKIE: token}
    return found
