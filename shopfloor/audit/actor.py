"""Who acts, and why: one context that the audit trail reads, whichever way a row is written.

with acting("user:dana", why="typed in by hand"):
    job_close(...)
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from shopfloor.wording.visible import visible

_who: ContextVar[str] = ContextVar("kerfbook_who", default="")
_why: ContextVar[str] = ContextVar("kerfbook_why", default="")

_address: ContextVar[str] = ContextVar("kerfbook_address", default="")


def current_who() -> str:
    return _who.get()


def current_why() -> str:
    return _why.get()


def current_address() -> str:
    """The client of the request under way; "" outside of one."""
    return _address.get()


@contextmanager
def coming_from(address: str) -> Iterator[None]:
    token = _address.set(address)
    try:
        yield
    finally:
        _address.reset(token)


@contextmanager
def acting(who: str, *, why: str = "") -> Iterator[None]:
    """Everything written inside is on record as done by `who` ("user:NAME", "intake",
    "planning", "command NAME") for the reason `why`. Both in one line, without control marks,
    the reason of 200 letters at most."""
    who_token, why_token = _who.set(_line(who)[:160]), _why.set(_line(why)[:200])
    try:
        yield
    finally:
        _who.reset(who_token)
        _why.reset(why_token)


def _line(text: str) -> str:
    return " ".join(visible(text).split())
