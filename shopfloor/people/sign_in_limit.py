"""Slows down guessing at desk passwords: a name and address that failed too often wait."""

from __future__ import annotations

from shopfloor.people.address import address_block
from shopfloor.people.throttle import Limit, attempt, forget, give_back, must_wait

FAILURES = 6
FAILURES_ANYWHERE = 30  # for one name, over all addresses
WAIT_S = 300
_HERE = Limit("sign-in", FAILURES, WAIT_S)
_ANYWHERE = Limit("sign-in anywhere", FAILURES_ANYWHERE, WAIT_S)


def signin_attempt(*, name: str, address: str) -> bool:
    """Counts an attempt before its password is looked at, so that many at once get no more tries
    than one after the other. False where this name, from this address or from all together,
    must wait."""
    name, block = _plain(name), address_block(address)
    if must_wait(_HERE, name, block) or must_wait(_ANYWHERE, name):
        return False
    return not attempt(_HERE, name, block) and not attempt(_ANYWHERE, name)


def signin_worked(*, name: str, address: str) -> None:
    """Forgets the failures of this name at this address; the attempt was none anywhere."""
    name = _plain(name)
    forget(_HERE, name, address_block(address))
    give_back(_ANYWHERE, name)


def _plain(name: str) -> str:
    return name.strip().lower()
