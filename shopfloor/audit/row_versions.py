"""What others changed in a row while somebody had its page open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection, models

from shopfloor.audit.history import past_of
from shopfloor.models import Change, Nest, User


@dataclass(frozen=True, slots=True)
class NewerVersion:
    """The changes since a version, as one: who made the last of them, when, and of each field what
    it was before and is now. Fields that came back to what they were are left out."""

    who: str
    at: datetime
    changes: dict[str, tuple[Any, Any]]


def version_of(model: type[models.Model], pk: Any) -> int:
    """The newest change of a row; 0 where none is on record. A later change has a higher one. Read
    before the row itself, so that a change between the two is told rather than missed."""
    newest = _changes(model, pk).order_by("-pk").values_list("pk", flat=True).first()
    return int(newest or 0)


def nest_version(pk: int) -> int:
    """The version of a nest, for pages that know no models."""
    return version_of(Nest, pk)


def changed_since(row: models.Model, version: int) -> NewerVersion | None:
    """What became of the row after that version, or None where nothing did."""
    found = list(
        _changes(type(row), row.pk).filter(pk__gt=version, operation="update").order_by("pk")
    )
    changes: dict[str, tuple[Any, Any]] = {}
    for change in found:
        for name, (before, after) in past_of(type(row), change).changes.items():
            changes[name] = (changes.get(name, (before,))[0], after)
    left = {name: (old, new) for name, (old, new) in changes.items() if old != new}
    return NewerVersion(_name(found[-1].who), found[-1].at, left) if left else None


def _changes(model: type[models.Model], pk: Any) -> models.QuerySet[Change]:
    field: Any = model._meta.pk
    key = str(field.get_db_prep_value(field.to_python(pk), connection))
    return Change.objects.filter(table=model._meta.db_table, row=key)


def _name(who: str) -> str:
    """ "user:ines" as the name she goes by; whoever else it was as it is on record."""
    kind, _, name = who.partition(":")
    person = User.objects.filter(username=name).first() if kind == "user" else None
    return person.shown_name if person else who or "somebody"
