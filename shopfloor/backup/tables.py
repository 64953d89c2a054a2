"""Which tables and columns a database has, by the migrations that were applied to it.

They are those of that version, not of the models as they now are: a backup is made before an
upgrade, and restored into a database that is then migrated forward.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from django.db import models
from django.db.migrations.loader import MigrationLoader

Migrations = Collection[tuple[str, str]]
_KINDS: tuple[tuple[type[Any], str], ...] = (
    (models.BooleanField, "bool"),
    (models.FloatField, "float"),
    (models.IntegerField, "integer"),
    (models.AutoField, "integer"),
    (models.BinaryField, "bytes"),
    (models.DateTimeField, "instant"),  # before DateField, of which it is one
    (models.UUIDField, "uuid"),
)


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    kind: str  # of copytext.READ


@dataclass(frozen=True, slots=True)
class Table:
    """`serial` is the column whose values the database numbers by itself, "" where none."""

    name: str
    columns: tuple[Column, ...]
    serial: str

    @property
    def kinds(self) -> list[str]:
        return [column.kind for column in self.columns]

    @property
    def quoted(self) -> str:
        """The columns, as both databases take them in a statement."""
        return ", ".join(f'"{column.name}"' for column in self.columns)


def unknown(applied: Migrations) -> list[str]:
    """Migrations this program does not have: the database was used by a newer one."""
    there = MigrationLoader(None).disk_migrations
    ours = {app for app, _ in there}
    return sorted(
        f"{app}.{name}" for app, name in applied if app in ours and (app, name) not in there
    )


def tables_of(applied: Migrations) -> list[Table]:
    """Every table that the migrations made, `django_migrations` excepted."""
    loader = MigrationLoader(None)
    nodes = [node for node in applied if node in loader.graph.nodes]
    found = loader.project_state(nodes).apps.get_models(include_auto_created=True)
    tables = {model._meta.db_table: _table(model) for model in found if model._meta.managed}
    return [tables[name] for name in sorted(tables)]


def last_of_each(applied: Migrations) -> list[tuple[str, str]]:
    """The newest applied migration of each app: where to migrate an empty database to."""
    loader = MigrationLoader(None)
    return sorted(
        node
        for node in applied
        if node in loader.graph.nodes
        and not any(
            (child.key[0] == node[0] and child.key in applied)
            for child in loader.graph.node_map[node].children
        )
    )


def _table(model: type[models.Model]) -> Table:
    columns = [
        Column(str(field.column), _kind(field)) for field in model._meta.local_concrete_fields
    ]
    serial = [
        str(field.column)
        for field in model._meta.local_concrete_fields
        if isinstance(field, models.AutoField | models.BigAutoField | models.SmallAutoField)
    ]
    return Table(model._meta.db_table, tuple(columns), serial[0] if serial else "")


def _kind(field: Any) -> str:
    if isinstance(field, models.ForeignKey):
        return _kind(field.target_field)
    return next((kind for of, kind in _KINDS if isinstance(field, of)), "text")
