"""Triggers for SQLite: one for each table and operation, with the columns spelt out."""

from __future__ import annotations

from shopfloor.audit.coverage import MASK, Audited, Column
from shopfloor.models import Change

PREFIX = "kerfbook_audit_"
_INTO = (
    f'INSERT INTO "{Change._meta.db_table}" '
    '("table", "row", "operation", "old", "new", "who", "why", "at") VALUES'
)


def triggers(audited: Audited) -> dict[str, str]:
    """Trigger names and their statements."""
    return {
        f"{PREFIX}{audited.table}_{operation}": _trigger(audited, operation)
        for operation in audited.operations
    }


def _trigger(audited: Audited, operation: str) -> str:
    name = f"{PREFIX}{audited.table}_{operation}"
    old = "NULL" if operation == "insert" else _row(audited, "OLD", operation)
    new = "NULL" if operation == "delete" else _row(audited, "NEW", operation)
    key = "OLD" if operation == "delete" else "NEW"
    conditions = []
    if operation in audited.when:
        conditions.append(audited.when[operation].format(old="OLD", new="NEW"))
    if operation == "update":
        conditions.append(f"({' OR '.join(_changed(column) for column in audited.columns)})")
    when = f" WHEN {' AND '.join(conditions)}" if conditions else ""
    return (
        f'CREATE TRIGGER "{name}" AFTER {operation.upper()} ON "{audited.table}"{when} BEGIN '
        f"{_INTO} ('{audited.table}', CAST({key}.\"{audited.pk}\" AS TEXT), '{operation}', "
        f"{old}, {new}, kerfbook_who(), kerfbook_why(), "
        "strftime('%Y-%m-%d %H:%M:%f', 'now')); END"
    )


def _row(audited: Audited, side: str, operation: str) -> str:
    """The row as JSON text, built by hand: SQLite's json_object would put in what stayed."""
    parts = []
    for column in audited.columns:
        pair = f"',\"{column.name}\":' || {_value(column, side)}"
        if operation == "update":
            pair = f"CASE WHEN {_changed(column)} THEN {pair} ELSE '' END"
        parts.append(pair)
    return "'{' || ltrim(" + " || ".join(parts) + ", ',') || '}'"


def _value(column: Column, side: str) -> str:
    name = f'{side}."{column.name}"'
    if column.secret:
        return f"'\"{MASK}\"'"
    if column.json:
        return f"coalesce({name}, 'null')"
    return f"json_quote({name})"


def _changed(column: Column) -> str:
    return f'OLD."{column.name}" IS NOT NEW."{column.name}"'
