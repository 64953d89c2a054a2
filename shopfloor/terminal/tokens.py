"""Who entered something, carried with the entry itself.

An entry may reach the server long after the person signed out, or while someone else is signed
in. So each carries what the server gave at sign-in: signed, for one person at one terminal, and
good for nothing but delivering floor entries from it.
"""

from __future__ import annotations

from django.core import signing

from shopfloor.models import Terminal, User

SALT = "kerfbook.floor.entry"
KEPT_S = 7 * 24 * 3600  # a screen that was off the network longer starts with a new sign-in


def entry_token(*, person: User, terminal: Terminal) -> str:
    return signing.dumps({"person": person.pk, "terminal": terminal.pk}, salt=SALT)


def entry_person(*, token: str, terminal: Terminal) -> User | None:
    """The person a token was made for, or None: not ours, another terminal's, too old, or the
    person has left."""
    try:
        said = signing.loads(token, salt=SALT, max_age=KEPT_S)
    except signing.BadSignature:
        return None
    if not isinstance(said, dict) or said.get("terminal") != terminal.pk:
        return None
    person = said.get("person")
    if not isinstance(person, int):
        return None
    return User.objects.filter(pk=person, is_active=True).first()
