"""The security log as the page shows it, and what the owner has not seen yet."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from shopfloor.models import Role, SecurityEvent, SecurityNotice, User


def security_events(*, kind: str = "", person: str = "") -> QuerySet[SecurityEvent]:
    """Newest first; of one kind, of one user name, or all: what is about a person and what they
    did."""
    rows = SecurityEvent.objects.order_by("-last_at", "-pk")
    if kind:
        rows = rows.filter(kind=kind)
    if person:
        rows = rows.filter(Q(about__contains=f",{person},") | Q(by=f"user:{person}"))
    return rows


def notices_open(user: User) -> list[SecurityNotice]:
    """What an owner is told of until one of them marks it seen."""
    if user.role != Role.OWNER or not user.is_active:
        return []
    rows = SecurityNotice.objects.filter(seen_at=None).select_related("event")
    return list(rows.order_by("pk")[:20])
