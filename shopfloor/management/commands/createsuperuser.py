"""`createsuperuser`: Django's own, and a line in the security log."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.management.commands import createsuperuser

from shopfloor.models import User
from shopfloor.people.security import security_event


class Command(createsuperuser.Command):
    def handle(self, *args: Any, **options: Any) -> None:
        newest = User.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
        super().handle(*args, **options)  # may ask, and nobody waits for the database meanwhile
        for user in User.objects.filter(pk__gt=newest, is_superuser=True):
            security_event(
                "person_added", about=user, text="every right", by="command createsuperuser"
            )
