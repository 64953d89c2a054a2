"""Slows down guessing at desk passwords: a name and address that failed too often wait.

Kept in files of the data folder, so that every web process of a machine counts together and a
restart forgets nothing. What is kept is a hash, never the name that was typed.
"""

from __future__ import annotations

import hashlib

from django.conf import settings
from django.core.cache.backends.filebased import FileBasedCache

FAILURES = 6
FAILURES_ANYWHERE = 30  # for one name, over all addresses
WAIT_S = 300


def signin_wait(*, name: str, address: str) -> bool:
    """Whether this name, from this address or from all together, must wait."""
    cache = _cache()
    here: int = cache.get(_key(name, address), 0)
    anywhere: int = cache.get(_key(name, ""), 0)
    return here >= FAILURES or anywhere >= FAILURES_ANYWHERE


def signin_failed(*, name: str, address: str) -> None:
    """Counts one failure; each renews the wait."""
    cache = _cache()
    for key in (_key(name, address), _key(name, "")):
        cache.set(key, cache.get(key, 0) + 1, WAIT_S)


def signin_worked(*, name: str, address: str) -> None:
    """Forgets the failures of this name at this address."""
    _cache().delete(_key(name, address))


def _cache() -> FileBasedCache:
    return FileBasedCache(str(settings.DATA_DIR / "signin"), {"OPTIONS": {"MAX_ENTRIES": 5000}})


def _key(name: str, address: str) -> str:
    return hashlib.sha256(f"{name.strip().lower()}\0{address}".encode()).hexdigest()
