"""What a copy does to each column of a row."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.db import connection, models

from planning.bench.bigshop.copies import Copy
from planning.bench.bigshop.sorts import BY_TABLE, BY_TIME

Change = Callable[[Any], Any]
Written = Callable[[Any], Any]

_LENGTHS_US = {"burn_us", "offset_us", "lag_us", "lag_spread_us", "clock_off_us"}
_TEXTS: dict[str, Callable[[Copy, Any], Any]] = {
    "Table.code": Copy.code, "Table.name": Copy.name,
    "Terminal.code": Copy.code, "Terminal.name": Copy.name, "Tray.label": Copy.name,
    "Feed.name": Copy.code, "Feed.table": Copy.code, "Arc.table": Copy.code,
    "GoneArc.table": Copy.code, "Rollup.table": Copy.code,
    "Job.number": Copy.numbered, "Nest.name": Copy.numbered, "Arc.program": Copy.numbered,
    "NestRevision.file_name": Copy.numbered, "Event.text": Copy.numbered,
    "Sheet.code": Copy.labelled, "Heat.number": Copy.labelled, "Piece.label": Copy.labelled,
    "Quote.number": Copy.quoted, "Posting.key": Copy.posting_key,
    "Arc.key": Copy.arc_key, "GoneArc.key": Copy.arc_key, "ArcAssignment.arc_key": Copy.arc_key,
    "Event.key": Copy.event_key, "Reject.key": Copy.hex_key, "Stray.event_key": Copy.hex_key,
    "Repeat.key": Copy.hex_key, "Gap.key": Copy.hex_key,
    "PieceUse.weights": Copy.weights, "Action.payload": Copy.payload, "Action.result": Copy.result,
}  # fmt: skip


def writing(field: models.Field[Any, Any]) -> Written:
    """How this database wants a value of the column, in a bulk statement of its own."""
    if isinstance(field, models.JSONField):
        return json.dumps
    if connection.vendor == "postgresql":
        return lambda value: value
    if isinstance(field, models.DateTimeField):
        return lambda value: str(value.replace(tzinfo=None))
    if isinstance(field, models.DateField | models.TimeField):
        return str
    if isinstance(field, models.UUIDField):
        return lambda value: value.hex
    if isinstance(field, models.ForeignKey):
        return writing(field.target_field)
    return lambda value: value


def change(field: models.Field[Any, Any], copy: Copy) -> Change | None:
    """What the copy makes of the column's values; None where it leaves them."""
    name = f"{field.model.__name__}.{field.name}"
    if name in _TEXTS:
        changed = _TEXTS[name]
        return lambda value: changed(copy, value)
    if isinstance(field, models.ForeignKey):
        return _pointing(field.related_model._meta.label, field.target_field, copy)
    if field.primary_key:
        return _pointing(field.model._meta.label, field, copy)
    if isinstance(field, models.UUIDField):
        return copy.uuid
    if field.model._meta.label in BY_TABLE:
        return None
    if isinstance(field, models.DateTimeField):
        return copy.back.at
    if isinstance(field, models.DateField):
        return copy.back.day
    if field.name.endswith("_us") and field.name not in _LENGTHS_US:
        return copy.back.us
    return None


def _pointing(label: str, key: models.Field[Any, Any], copy: Copy) -> Change | None:
    """The id that stands for the same row in this copy."""
    if label == "shopfloor.User":
        return copy.person
    if label in BY_TABLE:
        return lambda pk: copy.table_id(label, pk)
    if label not in BY_TIME:
        return None
    if isinstance(key, models.UUIDField):
        return copy.uuid
    return lambda pk: copy.id(label, pk)


def text_of_id(value: Any) -> str:
    """A row's id as the audit trail of this database writes it."""
    if isinstance(value, uuid.UUID) and connection.vendor == "sqlite":
        return value.hex
    return str(value)


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text)
