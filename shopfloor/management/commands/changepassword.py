"""`changepassword`: Django's own, and a line in the security log."""

from __future__ import annotations

from getpass import getuser
from typing import Any

from django.contrib.auth.management.commands import changepassword

from shopfloor.models import User
from shopfloor.people.security import security_event


class Command(changepassword.Command):
    def handle(self, *args: Any, **options: Any) -> str | None:
        said = super().handle(*args, **options)
        name = options["username"] or getuser()
        user = User.objects.get_by_natural_key(name)
        security_event("password_reset", about=user, by="command changepassword")
        return said
