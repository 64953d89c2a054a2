"""Who may sign in at a terminal."""

from __future__ import annotations

from django.db.models import Q

from shopfloor.models import User
from shopfloor.people.rights import FLOOR


def floor_people() -> list[User]:
    """Active people with the right to work at a terminal and a PIN, by name."""
    may = (
        Q(is_superuser=True)
        | Q(groups__permissions__codename=FLOOR)
        | Q(user_permissions__codename=FLOOR)
    )
    found = User.objects.filter(may, is_active=True).exclude(pin_hash="").distinct()
    return sorted(found, key=lambda one: one.shown_name.lower())
