"""Records found by a name a person typed or scanned."""

from __future__ import annotations

from typing import TypeVar

from django.db.models import Model, QuerySet

M = TypeVar("M", bound=Model)


def first_named(rows: QuerySet[M], field: str, text: str) -> M | None:
    """The row of exactly this name, else the first whose name differs only in case: two names may
    differ in nothing else."""
    return rows.filter(**{field: text}).first() or rows.filter(**{f"{field}__iexact": text}).first()
