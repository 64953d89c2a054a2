"""Asking for many ids: PostgreSQL for all at once, SQLite for a few hundred at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, TypeVar
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

T = TypeVar("T")
CHUNK = 400
Ids = Iterable[Any] | QuerySet[Any, Any]  # named one by one, or by a query


def chunked(ids: Sequence[Any], query: Callable[[Sequence[Any]], Iterable[Any]]) -> list[Any]:
    """The rows of `query` for all ids: no query for none, one for up to `CHUNK` of them."""
    found: list[Any] = []
    size = CHUNK if connection.vendor == "sqlite" else max(1, len(ids))
    for at in range(0, len(ids), size):
        found += query(ids[at : at + size])
    return found


def in_chunks(ids: Sequence[T]) -> Iterator[Sequence[T]]:
    """The ids, `CHUNK` at a time."""
    for at in range(0, len(ids), CHUNK):
        yield ids[at : at + CHUNK]


def among(ids: Ids, query: Callable[[Any], Iterable[Any]]) -> list[Any]:
    """The rows of `query` for all ids, in order and `chunked`; those of a query are found by the
    database itself, in one."""
    if isinstance(ids, QuerySet):
        return list(query(ids))
    return chunked(in_order(set(ids)), query)


def in_order(ids: Iterable[T]) -> list[T]:
    """Sorted; UUIDs by their number, for by themselves thousands take as long as a statement."""
    return sorted(ids, key=_number)


def _number(one: object) -> Any:
    return one.int if isinstance(one, UUID) else one
