"""Small facts that nearly every page reads, read once a page."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, TypeVar

T = TypeVar("T")
_read: ContextVar[dict[str, Any] | None] = ContextVar("facts_read", default=None)


@contextmanager
def read_once() -> Iterator[None]:
    """Within it each fact asked for with `once` is read once. For what only reads, such as one
    page: what is saved meanwhile is seen by the next."""
    if _read.get() is not None:
        yield
        return
    token = _read.set({})
    try:
        yield
    finally:
        _read.reset(token)


def once(read: Callable[[], T]) -> T:
    """What `read` gives, kept under its name while a `read_once` lasts. Its reader must not change
    it."""
    kept = _read.get()
    if kept is None:
        return read()
    name = f"{read.__module__}.{read.__qualname__}"
    if name not in kept:
        kept[name] = read()
    found: T = kept[name]
    return found
