"""Asking for many ids a few hundred at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, TypeVar

from django.db.models import QuerySet

T = TypeVar("T")
CHUNK = 400
Ids = Iterable[Any] | QuerySet[Any, Any]  # named one by one, or by a query


def chunked(ids: Sequence[Any], query: Callable[[Sequence[Any]], Iterable[Any]]) -> list[Any]:
    """The rows of `query` for all ids: no query for none, one for up to `CHUNK` of them."""
    found: list[Any] = []
    for at in range(0, len(ids), CHUNK):
        found += query(ids[at : at + CHUNK])
    return found


def in_chunks(ids: Sequence[T]) -> Iterator[Sequence[T]]:
    """The ids, `CHUNK` at a time."""
    for at in range(0, len(ids), CHUNK):
        yield ids[at : at + CHUNK]


def among(ids: Ids, query: Callable[[Any], Iterable[Any]]) -> list[Any]:
    """The rows of `query` for all ids, sorted and a few hundred at a time; those of a query are
    found by the database itself, in one."""
    if isinstance(ids, QuerySet):
        return list(query(ids))
    return chunked(sorted(set(ids)), query)
