"""Badges, PINs and terminals. A PIN is short, so guessing it is made slow; it opens a floor
terminal and nothing else."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta
from itertools import pairwise

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.errors import FloorError, PinLocked
from shopfloor.models import SignInEnd, Table, Terminal, User
from shopfloor.people.screen_sign_ins import signins_end
from shopfloor.people.security import security_event

FAILURES = 5
LOCK = timedelta(minutes=5)
LOCK_MOST = timedelta(hours=4)
SEEN_EVERY = timedelta(minutes=1)


@transaction.atomic
def pin_set(*, user: User, pin: str) -> None:
    """Gives a person a PIN of 4 to 8 figures; ends any lock, and the sign-ins at all screens."""
    if not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 8):
        raise FloorError(_("A PIN is 4 to 8 figures."))
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    if len(steps) == 1 and steps <= {0, 1, 9}:
        raise FloorError(_("That PIN is too easy to guess."), _("Not all the same, not in a row."))
    user.pin_hash = make_password(pin)
    user.pin_failures, user.pin_locked_until = 0, None
    user.save(update_fields=["pin_hash", "pin_failures", "pin_locked_until"])
    signins_end(by=SignInEnd.PIN, now=timezone.now(), person=user)
    security_event("pin_set", about=user)


def pin_verify(*, user: User, pin: str, now: datetime) -> bool:
    """Whether the PIN is right. Raises `PinLocked` while it may not be tried: for 5 minutes after
    5 failures, twice as long after each further one. A right one forgets the failures."""
    with transaction.atomic():
        held = User.objects.select_for_update().get(pk=user.pk)
        if held.pin_locked_until is not None and held.pin_locked_until > now:
            raise PinLocked(held.pin_locked_until)
        right = bool(held.pin_hash) and check_password(pin, held.pin_hash)
        if right and not held.pin_failures:
            return True
        held.pin_failures = 0 if right else min(held.pin_failures + 1, 1000)
        held.pin_locked_until = _locked_until(held.pin_failures, now)
        held.save(update_fields=["pin_failures", "pin_locked_until"])
    user.pin_failures, user.pin_locked_until = held.pin_failures, held.pin_locked_until
    return right


def _locked_until(failures: int, now: datetime) -> datetime | None:
    if failures < FAILURES:
        return None
    lock: timedelta = LOCK * 2 ** min(failures - FAILURES, 10)
    return now + min(lock, LOCK_MOST)


@transaction.atomic
def terminal_register(*, code: str, name: str, table: Table | None = None) -> tuple[Terminal, str]:
    """Makes a terminal, or gives one of that code a new token (the old one stops working). The
    token is shown once: only its hash is kept."""
    token = secrets.token_urlsafe(32)
    terminal = Terminal.objects.filter(code=code).first() or Terminal(code=code)
    terminal.name, terminal.table, terminal.active = name, table, True
    terminal.token_hash, terminal.code_hash = _token_hash(token), ""
    terminal.full_clean()
    terminal.save()
    signins_end(by=SignInEnd.MOVED, now=timezone.now(), terminal=terminal)
    where = table.name if table is not None else _("any table")
    security_event(
        "terminal_registered",
        text=_("{terminal} ({code}) at {where}").format(
            terminal=terminal.name, code=terminal.code, where=where
        ),
    )
    return terminal, token


def terminal_by_token(*, token: str, now: datetime) -> Terminal | None:
    """The active terminal a token belongs to; notes that it was seen, once a minute."""
    found = (
        Terminal.objects.select_related("table")
        .filter(token_hash=_token_hash(token), active=True)
        .first()
        if token
        else None
    )
    if found is None:
        return None
    if found.last_seen_at is None or now - found.last_seen_at >= SEEN_EVERY:
        found.last_seen_at = now
        found.save(update_fields=["last_seen_at"])
    return found


@transaction.atomic
def terminal_retire(*, terminal: Terminal) -> None:
    terminal.active, terminal.token_hash, terminal.code_hash = False, "", ""
    terminal.save(update_fields=["active", "token_hash", "code_hash"])
    signins_end(by=SignInEnd.WITHDRAWN, now=timezone.now(), terminal=terminal)
    security_event("terminal_withdrawn", text=f"{terminal.name} ({terminal.code})")


def _token_hash(token: str) -> str:
    """A token is 256 random bits, so a plain hash is enough and can be looked up."""
    return hashlib.sha256(token.encode()).hexdigest()
