"""A record of what a service wrote, so that it can be taken back by writes that are themselves on
record. Rows that meant something are answered by a row that cancels them; only rows that nothing
was built on are removed, and the audit trail keeps even those."""

from __future__ import annotations

import hashlib
import json
from datetime import date, datetime
from typing import Any, TypeVar
from uuid import UUID

from django.apps import apps
from django.db import models
from django.db.models import ProtectedError
from django.utils.translation import gettext as _

from shopfloor.errors import FloorError

Row = TypeVar("Row", bound=models.Model)
Step = dict[str, Any]
REMOVE = {"remove": True}


class UndoRecord:
    """Collects steps as JSON values; `undo_steps` takes them back, last first."""

    def __init__(self) -> None:
        self.steps: list[Step] = []

    def create(self, row: Row, *, undo: dict[str, Any] | None = None) -> Row:
        """Validates and inserts. `undo` says how it is taken back: REMOVE (default),
        {"set": {field: value}}, or {"negate": field} for a second row of the opposite sign."""
        row.full_clean()
        row.save(force_insert=True)
        how = undo or {**REMOVE, "as": _digest(row)}
        self.steps.append({"model": row._meta.label, "pk": str(row.pk), "made": how})
        return row

    def change(self, row: models.Model, **values: Any) -> None:
        """Sets fields, saves only those, and keeps what they were. Unchanged ones are left out."""
        old: dict[str, Any] = {}
        new: dict[str, Any] = {}
        for name, value in values.items():
            field: Any = row._meta.get_field(name)
            attname = field.attname
            before = getattr(row, attname)
            setattr(row, name, value)
            after = getattr(row, attname)
            if before != after:
                old[name], new[name] = _plain(before), _plain(after)
        if not new:
            return
        row.save(update_fields=list(new))
        self.steps.append({"model": row._meta.label, "pk": str(row.pk), "old": old, "new": new})


def undo_steps(
    steps: list[Step], *, undo_record: UndoRecord, stamp: dict[str, Any]
) -> list[models.Model]:
    """Takes steps back and returns the rows touched. `stamp` (by, at, action) fills the fields of
    cancelling rows. Raises `FloorError` where a row has moved on since."""
    touched = []
    for step in reversed(steps):
        model: Any = apps.get_model(step["model"])
        row = model._default_manager.filter(pk=step["pk"]).first()
        if row is None:
            raise _moved_on()
        touched.append(row)
        if "new" in step:
            _put_back(row, step, undo_record)
        else:
            _take_back(row, step["made"], undo_record, stamp)
    return touched


def _put_back(row: models.Model, step: Step, undo_record: UndoRecord) -> None:
    values = {}
    for name, new in step["new"].items():
        field: Any = row._meta.get_field(name)
        if _plain(getattr(row, field.attname)) != new:
            raise _moved_on()
        values[field.attname] = _typed(field, step["old"][name])
    for attname, value in values.items():
        setattr(row, attname, value)
    row.save(update_fields=list(step["new"]))


def _take_back(
    row: models.Model, how: dict[str, Any], undo_record: UndoRecord, stamp: dict[str, Any]
) -> None:
    if "negate" in how:
        negated = type(row)(
            **{
                field.attname: getattr(row, field.attname)
                for field in row._meta.concrete_fields
                if not field.primary_key
            }
        )
        setattr(negated, how["negate"], -getattr(row, how["negate"]))
        for name, value in stamp.items():
            if name in {field.name for field in row._meta.concrete_fields}:
                setattr(negated, name, value)
        negated.save(force_insert=True)
    elif "set" in how:
        for name, value in how["set"].items():
            field: Any = row._meta.get_field(name)
            setattr(row, field.attname, _typed(field, value))
        row.save(update_fields=list(how["set"]))
    elif how.get("as") != _digest(row):
        raise _moved_on()
    else:
        try:
            row.delete()
        except ProtectedError:
            raise _moved_on() from None


def _digest(row: models.Model) -> str:
    """Tells whether a row is still as it was made."""
    values = [
        _plain(field.to_python(getattr(row, field.attname)))
        for field in row._meta.concrete_fields
        if not field.is_relation
    ] + [
        _plain(getattr(row, field.attname))
        for field in row._meta.concrete_fields
        if field.is_relation
    ]
    return hashlib.sha256(json.dumps(values, default=str).encode()).hexdigest()[:16]


def _moved_on() -> FloorError:
    return FloorError(
        _("Something else has happened since."), _("Ask the supervisor to correct it at the desk.")
    )


def _plain(value: Any) -> Any:
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, models.Model):
        return _plain(value.pk)
    return value


def _typed(field: Any, value: Any) -> Any:
    if value is None:
        return None
    target = getattr(field, "target_field", field)
    return target.to_python(value)
