"""The security log: `security_event` writes it, from whatever room something happens in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import DateTimeField, F, Value
from django.db.models.functions import Greatest
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.audit.actor import current_address, current_who
from shopfloor.audit.kept import KEPT_DAYS
from shopfloor.models import SecurityEvent, SecurityNotice, User
from shopfloor.wording.visible import visible

MOST_A_MINUTE = 60  # rows of counted kinds; an attack from more addresses is counted as one
MANY = "many addresses"
TIDIED = 100
ABOUT_MOST = 400


@dataclass(frozen=True, slots=True)
class Kind:
    label: str
    counted: bool = False  # whoever is not signed in can cause it, as often as they like


KINDS: dict[str, Kind] = {
    "signin_failed": Kind(N_("sign-in failed"), counted=True),
    "signin_waits": Kind(N_("sign-in turned away for a while"), counted=True),
    "pin_failed": Kind(N_("wrong badge or PIN at a screen"), counted=True),
    "pin_waits": Kind(N_("PIN locked for a while"), counted=True),
    "screen_code_failed": Kind(N_("wrong code for a screen"), counted=True),
    "screen_code_waits": Kind(N_("codes for a screen turned away for a while"), counted=True),
    "source_refused": Kind(N_("collector without a right token"), counted=True),
    "person_added": Kind(N_("person added")),
    "role_changed": Kind(N_("role changed")),
    "rights_changed": Kind(N_("rights changed")),
    "rights_own": Kind(N_("rights given to oneself")),
    "person_shut_out": Kind(N_("person shut out")),
    "person_let_in": Kind(N_("person let in again")),
    "badge_changed": Kind(N_("badge changed")),
    "password_reset": Kind(N_("password set by somebody else")),
    "password_changed": Kind(N_("own password changed")),
    "pin_set": Kind(N_("PIN set")),
    "screen_code_made": Kind(N_("code for a screen made")),
    "terminal_registered": Kind(N_("screen registered")),
    "terminal_withdrawn": Kind(N_("screen withdrawn")),
    "source_token": Kind(N_("token for a collector made")),
    "exported": Kind(N_("everything exported")),
}
TOLD = frozenset({"rights_own"})  # the owner is told of these


def security_event(
    kind: str,
    *,
    about: User | None = None,
    text: str = "",
    by: str | None = None,
    address: str | None = None,
    now: datetime | None = None,
) -> None:
    """Writes one event down, in the caller's transaction. `by` and `address`: as the request has
    them. Nobody may put a secret or a name as somebody typed it into `text`. Raises KeyError for
    a kind that is not in `KINDS`."""
    counted = KINDS[kind].counted
    now = now or timezone.now()
    row = SecurityEvent(
        kind=kind,
        first_at=now,
        last_at=now,
        minute=int(now.timestamp() // 60) if counted else None,
        address=(current_address() if address is None else address)[:64],
        about=f",{about.username}," if about is not None else "",
        by=(current_who() if by is None else by)[:160],
        text=" ".join(visible(text).split())[:300],
    )
    if counted and _counted_up(row):
        return
    row.save(force_insert=True)
    if kind in TOLD:
        SecurityNotice.objects.create(event=row)
    _tidy(now)


def source_token_made(*, instance: Any, created: bool, raw: bool, **kwargs: Any) -> None:
    """`post_save` of a source's token: intake knows no log, and a command makes tokens too."""
    if created and not raw:
        by = f"user:{instance.made_by}" if instance.made_by else None
        security_event(
            "source_token", text=_("source {feed}").format(feed=instance.feed.name), by=by
        )


def notice_seen(*, notice: SecurityNotice, by: User, now: datetime) -> None:
    SecurityNotice.objects.filter(pk=notice.pk, seen_at=None).update(seen_at=now, seen_by=by)


def _counted_up(row: SecurityEvent) -> bool:
    """Adds to the minute's row, made here if need be."""
    if _added(row):
        return True
    if SecurityEvent.objects.filter(minute=row.minute).count() >= MOST_A_MINUTE:
        row.address = MANY
        if _added(row):
            return True
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:  # another request of this minute made it just now
        return _added(row)
    _tidy(row.last_at)
    return True


def _added(row: SecurityEvent) -> bool:
    """Whether the minute's row is there, and one more now. Another request may add a name at the
    same moment: then the name is tried again, and the count never fails for it."""
    there = SecurityEvent.objects.filter(kind=row.kind, minute=row.minute, address=row.address)
    more: dict[str, Any] = {
        "count": F("count") + 1,
        "last_at": Greatest(F("last_at"), Value(row.last_at, DateTimeField())),
    }
    for _try in range(3):
        known = there.values_list("about", flat=True).first()
        if known is None:
            return False
        about = _with(known, row.about)
        if about == known:
            break
        if there.filter(about=known).update(**more, about=about):
            return True
    return there.update(**more) > 0


def _with(known: str, name: str) -> str:
    if not name or name in known or len(known + name) > ABOUT_MOST:
        return known
    return known + name.removeprefix("," if known else "")


def _tidy(now: datetime) -> None:
    """Lets go what is past its time, but for what the owner has not seen."""
    old = SecurityEvent.objects.filter(last_at__lt=now - timedelta(days=KEPT_DAYS, hours=1))
    old = old.exclude(notice__seen_at=None, notice__isnull=False).order_by("last_at")
    ids = list(old.values_list("pk", flat=True)[:TIDIED])
    if ids:
        SecurityEvent.objects.filter(pk__in=ids).delete()
