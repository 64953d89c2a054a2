"""Who stands at a screen, and what still counts of what was entered there once they left.

An entry may arrive long after the person signed out: the tablet had no network. It counts if it
was made before, by its own time, and the office sees that it came in after. That time comes from
the tablet, so whoever took a signed-in tablet apart could set it back; such entries are flagged
and taken for a week at most, from that screen alone. A changed PIN, a lost right and a withdrawn
screen say that somebody may not be trusted: what comes in after them is kept, but not applied.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.errors import FloorError
from shopfloor.models import ScreenSignIn, SignInEnd, Table, Terminal, User
from shopfloor.people.rights import FLOOR, may

KEPT = timedelta(days=7)  # a screen that was off the network longer starts with a new sign-in
RENEWED = timedelta(days=1)
GRACE = timedelta(seconds=15)  # what a device's clock may be off after its correction
PURGED = KEPT * 3
STILL_COUNTS = (SignInEnd.SIGNED_OUT, SignInEnd.MOVED)
WHY_NOT = {
    SignInEnd.PIN: N_("the PIN was changed"),
    SignInEnd.RIGHTS: N_("the right to work at a table ended"),
    SignInEnd.WITHDRAWN: N_("this screen was withdrawn"),
}


def signin_begin(*, person: User, terminal: Terminal, table: Table, now: datetime) -> ScreenSignIn:
    """The person's open sign-in at this screen, or a new one where it is a day old."""
    ScreenSignIn.objects.filter(began_at__lt=now - PURGED).delete()
    there = ScreenSignIn.objects.filter(
        person=person, terminal=terminal, table=table, ended_at=None, began_at__gt=now - RENEWED
    )
    return there.order_by("-pk").first() or ScreenSignIn.objects.create(
        person=person, terminal=terminal, table=table, began_at=now
    )


def signins_end(
    *,
    by: SignInEnd,
    now: datetime,
    person: User | None = None,
    terminal: Terminal | None = None,
    table: Table | None = None,
    but: list[int] | None = None,
) -> None:
    """Ends the open ones of a person or screen. `but`: ids of people who stay. What a person
    signed out of ends again by a changed PIN or a lost right: nothing of it counts from then."""
    if person is None and terminal is None:
        raise ValueError(_("whose sign-ins end?"))
    open_ones = Q(ended_at=None)
    overruled = Q() if by in STILL_COUNTS else Q(ended_by__in=STILL_COUNTS)
    rows = ScreenSignIn.objects.filter(open_ones | overruled)
    if person is not None:
        rows = rows.filter(person=person)
    if terminal is not None:
        rows = rows.filter(terminal=terminal)
    if table is not None:
        rows = rows.filter(table=table)
    rows.exclude(person__in=but or []).update(ended_at=now, ended_by=by)


def floor_right_ended(*, user: User, now: datetime) -> None:
    """After a change of a person's rights: whoever may not work at a table is out of all screens.
    Rights are read afresh."""
    fresh = User.objects.get(pk=user.pk)
    if not fresh.is_active or not may(fresh, FLOOR):
        signins_end(by=SignInEnd.RIGHTS, now=now, person=user)


def signin_judged(signin: ScreenSignIn, *, at: datetime, now: datetime) -> None:
    """Raises `FloorError` where an entry of a time does not count any more."""
    if signin.ended_at is None:
        if now - signin.began_at > KEPT + RENEWED:
            raise FloorError(
                _("That sign-in is over a week old."), _("Sign in and enter it again.")
            )
        return
    ended_by = SignInEnd(signin.ended_by)
    if ended_by in WHY_NOT:
        raise FloorError(
            _("It came in after {ended_by}.").format(ended_by=_(WHY_NOT[ended_by])),
            _("It is kept; the supervisor can enter it."),
        )
    if not signin.began_at - GRACE <= at <= signin.ended_at + GRACE or now - at > KEPT:
        raise FloorError(
            _("{shown_name} was not signed in here at that time.").format(
                shown_name=signin.person.shown_name
            ),
            _("It is kept; sign in and enter it again."),
        )
