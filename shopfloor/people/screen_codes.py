"""A short code an administrator makes at a desk and somebody types at the screen it is for. It
registers that screen once and lasts a quarter of an hour, so that 8 letters are enough: 31 ** 8
codes, and few tries at them (`throttle`)."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.crypto import get_random_string
from django.utils.translation import gettext as _

from shopfloor.errors import FloorError
from shopfloor.models import Table, Terminal
from shopfloor.people.address import address_block
from shopfloor.people.badges import terminal_register
from shopfloor.people.security import security_event
from shopfloor.people.throttle import Limit, attempt, forget

LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"  # none that looks like another
LENGTH = 8
LASTS = timedelta(minutes=15)
WRONG = Limit("screen code", 6, 300)


@transaction.atomic
def screen_code_make(
    *, code: str, name: str, table: Table | None, now: datetime
) -> tuple[Terminal, str]:
    """Makes a terminal, or takes the one of that `code`, and gives it a code to register with.
    What it is registered with so far goes on working until then."""
    terminal = Terminal.objects.filter(code=code).first() or Terminal(code=code, active=False)
    terminal.name, terminal.table = name, table
    letters = get_random_string(LENGTH, LETTERS)
    terminal.code_hash, terminal.code_ends_at = _hashed(letters), now + LASTS
    terminal.full_clean()
    terminal.save()
    security_event("screen_code_made", text=f"{terminal.name} ({terminal.code})")
    return terminal, f"{letters[:4]}-{letters[4:]}"


def screen_code_use(*, typed: str, address: str, now: datetime) -> tuple[Terminal, str]:
    """The terminal a code is for, and its new token. Raises FloorError where there is no such
    code now, or too many were tried from this address."""
    block = address_block(address)
    if wait_s := attempt(WRONG, block):
        security_event("screen_code_waits", address=address)
        minutes = max(1, round(wait_s / 60))
        raise FloorError(
            _("Too many codes that are not right."),
            _("Try again in {minutes} min.").format(minutes=minutes),
        )
    used = _used(typed, now)
    if used is None:
        security_event("screen_code_failed", address=address)
        raise FloorError(
            _("That code registers no screen."),
            _("Each works once, for 15 minutes; make a new one on Sources, Screens."),
        )
    forget(WRONG, block)
    return used


@transaction.atomic
def _used(typed: str, now: datetime) -> tuple[Terminal, str] | None:
    letters = "".join(one for one in typed.upper() if one.isalnum())
    if len(letters) != LENGTH:
        return None
    there = Terminal.objects.filter(code_hash=_hashed(letters), code_ends_at__gt=now)
    terminal = there.select_related("table").first()
    if terminal is None or not there.update(code_hash="", code_ends_at=None):
        return None  # another screen used it just now
    return terminal_register(code=terminal.code, name=terminal.name, table=terminal.table)


def _hashed(letters: str) -> str:
    return hashlib.sha256(letters.encode()).hexdigest()
