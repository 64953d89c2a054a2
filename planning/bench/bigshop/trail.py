"""The audit trail's rows in each copy: ids within them are those of the copy."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from typing import Any

from django.apps import apps
from django.db import models

from planning.bench.bigshop.columns import change, text_of_id, writing
from planning.bench.bigshop.copies import Copy
from planning.bench.bigshop.sorts import BY_TIME
from shopfloor.models import Change

_KINDS: dict[str | None, type[models.Model]] = {
    kind._meta.db_table: kind for kind in apps.get_app_config("shopfloor").get_models()
}


def trail_rows(small: str, copies: Sequence[Copy]) -> Iterator[list[Any]]:
    """Changes of what is copied in time once a copy, of everything else once."""
    fields = Change._meta.concrete_fields
    names = [field.attname for field in fields]
    writes = [writing(field) for field in fields]
    rows = list(Change.objects.using(small).order_by("pk").values_list(*names))
    for copy in copies:
        for row in rows:
            found = dict(zip(names, row, strict=True))
            kind = _KINDS.get(found["table"])
            label = kind._meta.label if kind else ""
            if kind is not None and label in BY_TIME:
                _move(found, kind, copy)
            elif copy is not copies[-1]:
                continue
            found["id"] = copy.id("shopfloor.Change", found["id"])
            found["at"] = copy.back.at(found["at"])
            values = zip(found.values(), writes, strict=True)
            yield [None if value is None else write(value) for value, write in values]


def _move(found: dict[str, Any], kind: type[models.Model], copy: Copy) -> None:
    key: Any = kind._meta.pk
    moved = change(key, copy)
    if moved is not None:
        found["row"] = text_of_id(moved(key.to_python(found["row"])))
    for side in ("old", "new"):
        if found[side]:
            found[side] = _ids(found[side], kind, copy)


def _ids(values: dict[str, Any], kind: type[models.Model], copy: Copy) -> dict[str, Any]:
    moved = dict(values)
    for field in kind._meta.concrete_fields:
        column = str(field.column)
        value = values.get(column)
        if value is None or not (field.primary_key or isinstance(field, models.ForeignKey)):
            continue
        made = change(field, copy)
        if made is not None:
            new = made(field.to_python(value))
            moved[column] = text_of_id(new) if isinstance(new, uuid.UUID) else new
    return moved
