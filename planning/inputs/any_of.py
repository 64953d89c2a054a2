"""Rows whose field is one of many ids, asked of PostgreSQL with one array.

A text with a place for each of a thousand ids takes longer to write and to read than its answer
takes to find.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django.db.models import Field, ForeignKey, Lookup, QuerySet
from django.db.models.fields.related import ForeignObject

if TYPE_CHECKING:
    Base = Lookup[Any]
else:
    Base = Lookup


@Field.register_lookup
@ForeignObject.register_lookup
class AnyOf(Base):
    """`field = ANY(array)`; an ordinary IN where the database has no arrays. The ids are of the
    column's own type."""

    lookup_name = "any_of"
    prepare_rhs = False

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        column, params = self.process_lhs(compiler, connection)
        places = ", ".join(["%s"] * len(self.rhs))
        return f"{column} IN ({places})", (*params, *self._ids(connection))

    def as_postgresql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        column, params = self.process_lhs(compiler, connection)
        return f"{column} = ANY(%s)", (*params, self._ids(connection))

    def _ids(self, connection: Any) -> list[Any]:
        field = self.lhs.output_field
        while isinstance(field, ForeignKey):
            field = field.target_field
        return [field.get_db_prep_value(id, connection, prepared=True) for id in self.rhs]


def any_of(field: str, ids: Sequence[Any] | QuerySet[Any, Any]) -> dict[str, Any]:
    """The filter, as in `rows.filter(**any_of("run", ids))`; `ids` one by one, or by a query."""
    return {f"{field}__{'in' if isinstance(ids, QuerySet) else AnyOf.lookup_name}": ids}
