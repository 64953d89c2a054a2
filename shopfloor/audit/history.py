"""What became of a row, who did it and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db import connection, models

from shopfloor.models import Change


@dataclass(frozen=True, slots=True)
class Past:
    """One change. `changes` is `{field: (before, after)}`; made and deleted rows list every field
    with None on the other side. Secrets show only that they changed."""

    at: datetime
    operation: str
    who: str
    why: str
    changes: dict[str, tuple[Any, Any]]


def history_of(model: type[models.Model], pk: Any) -> list[Past]:
    """Every change of one row, oldest first, also of a row that is gone."""
    rows = Change.objects.filter(table=model._meta.db_table, row=row_key(model, pk))
    return [past_of(model, change) for change in rows.order_by("pk")]


def row_key(model: type[models.Model], pk: Any) -> str:
    """A row as the record of changes names it: as its key stands in the database."""
    field: Any = model._meta.pk
    return str(field.get_db_prep_value(field.to_python(pk), connection))


def past_of(model: type[models.Model], change: Change) -> Past:
    old, new = change.old or {}, change.new or {}
    fields: dict[str, Any] = {str(field.column): field for field in model._meta.concrete_fields}
    changes = {
        fields[column].name: (
            _value(fields[column], old.get(column)),
            _value(fields[column], new.get(column)),
        )
        for column in (*old, *(column for column in new if column not in old))
        if column in fields  # a column of an earlier version is not the model's any more
    }
    return Past(change.at, change.operation, change.who, change.why, changes)


def _value(field: Any, value: Any) -> Any:
    if value is None or isinstance(field, models.JSONField):
        return value
    if isinstance(field, models.DateTimeField):
        found = datetime.fromisoformat(value)
        return found if found.tzinfo else found.replace(tzinfo=UTC)
    return getattr(field, "target_field", field).to_python(value)
