"""Rows as they stood at earlier moments, by the record of changes."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from typing import TypeVar

from django.db import models

from shopfloor.audit.history import past_of, row_key
from shopfloor.demo import LOADED
from shopfloor.models import Change

Row = TypeVar("Row", bound=models.Model)


class Then:
    """Rows of some models at any moment since `start`; changes are read once. What the record of
    changes does not hold is taken to have always been, and so is a past that was loaded whole."""

    def __init__(self, kinds: Iterable[type[models.Model]], start: datetime) -> None:
        names = [kind._meta.db_table for kind in kinds]
        self._changes: dict[str, dict[str, list[Change]]] = defaultdict(lambda: defaultdict(list))
        changes = Change.objects.filter(table__in=names, at__gt=start).exclude(why=LOADED)
        for change in changes.order_by("at", "pk"):
            self._changes[change.table][change.row].append(change)

    def rows(self, rows: models.QuerySet[Row], at: datetime) -> list[Row]:
        """Of the rows of a query, and of those that were deleted since, what stood at a moment.
        The query tells which rows are meant by what they are now; changes of others are left out,
        deleted ones are all handed over."""
        kind, now = rows.model, {row_key(rows.model, row.pk): row for row in rows}
        own = self._changes[kind._meta.db_table]
        found = [self._then(kind, own.get(key, []), at, row) for key, row in now.items()]
        gone = [key for key, changes in own.items() if changes[-1].operation == "delete"]
        found += [self._then(kind, own[key], at, None) for key in gone if key not in now]
        return [row for row in found if row is not None]

    def _then(
        self, kind: type[Row], changes: list[Change], at: datetime, row: Row | None
    ) -> Row | None:
        later = changes[bisect_right(changes, at, key=lambda change: change.at) :]
        if not later:
            return row
        if later[0].operation == "insert":
            return None
        values = {} if row is None else {
            field.name: field.value_from_object(row) for field in kind._meta.concrete_fields
        }  # fmt: skip
        for change in reversed(later):
            past = past_of(kind, change)
            values |= {name: before for name, (before, _after) in past.changes.items()}
        names = {field.name: field.attname for field in kind._meta.concrete_fields}
        return kind(**{names[name]: value for name, value in values.items()})
