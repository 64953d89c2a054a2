"""Who entered something, carried with the entry itself.

An entry may reach the server long after the person signed out, or while someone else is signed
in. So each carries what the server gave at sign-in: the number of that sign-in, signed. It is good
for nothing but delivering floor entries from that screen, and ends with the sign-in
(`people/screen_sign_ins.py`).
"""

from __future__ import annotations

from django.core import signing

from shopfloor.models import ScreenSignIn, Table, Terminal

SALT = "kerfbook.floor.signin"
KEPT_S = 14 * 24 * 3600


def entry_token(signin: ScreenSignIn) -> str:
    return signing.dumps(signin.pk, salt=SALT)


def entry_signin(*, token: str, terminal: Terminal, table: Table) -> ScreenSignIn | None:
    """The sign-in a token was made for, ended or not; None where it is not ours, another
    screen's or table's, or long over."""
    try:
        number = signing.loads(token, salt=SALT, max_age=KEPT_S)
    except signing.BadSignature:
        return None
    rows = ScreenSignIn.objects.filter(terminal=terminal, table=table).select_related("person")
    return rows.filter(pk=number).first() if type(number) is int else None
