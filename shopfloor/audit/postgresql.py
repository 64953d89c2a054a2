"""Triggers for PostgreSQL: one function for all tables, told by arguments what to leave out."""

from __future__ import annotations

import hashlib

from shopfloor.audit.coverage import MASK, Audited
from shopfloor.models import Change

PREFIX = "kerfbook_audit_"
_TEXT = """
CREATE OR REPLACE FUNCTION kerfbook_audit() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    -- arguments: key column, columns left out, secret columns (both comma separated)
    old_row jsonb := NULL;
    new_row jsonb := NULL;
    old_kept jsonb := NULL;
    new_kept jsonb := NULL;
    left_out text[] := string_to_array(TG_ARGV[1], ',');
    secret text[] := string_to_array(TG_ARGV[2], ',');
BEGIN
    IF TG_OP <> 'INSERT' THEN old_row := to_jsonb(OLD) - left_out; END IF;
    IF TG_OP <> 'DELETE' THEN new_row := to_jsonb(NEW) - left_out; END IF;
    IF TG_OP = 'UPDATE' THEN
        SELECT jsonb_object_agg(key, CASE WHEN key = ANY(secret) THEN '"@mask"' ELSE value END)
          INTO old_kept FROM jsonb_each(old_row) WHERE value IS DISTINCT FROM new_row -> key;
        IF old_kept IS NULL THEN RETURN NULL; END IF;
        SELECT jsonb_object_agg(key, CASE WHEN key = ANY(secret) THEN '"@mask"' ELSE value END)
          INTO new_kept FROM jsonb_each(new_row) WHERE value IS DISTINCT FROM old_row -> key;
    ELSE
        SELECT jsonb_object_agg(key, CASE WHEN key = ANY(secret) THEN '"@mask"' ELSE value END)
          INTO old_kept FROM jsonb_each(old_row);
        SELECT jsonb_object_agg(key, CASE WHEN key = ANY(secret) THEN '"@mask"' ELSE value END)
          INTO new_kept FROM jsonb_each(new_row);
    END IF;
    INSERT INTO "@change"
        ("table", "row", operation, old, new, who, why, at)
    VALUES (
        TG_TABLE_NAME, coalesce(new_row, old_row) ->> TG_ARGV[0], lower(TG_OP), old_kept, new_kept,
        coalesce(current_setting('kerfbook.who', true), ''),
        coalesce(current_setting('kerfbook.why', true), ''), clock_timestamp()
    );
    RETURN NULL;
END $$
"""
FUNCTION = _TEXT.replace("@change", Change._meta.db_table).replace("@mask", MASK)


def triggers(audited: Audited) -> dict[str, str]:
    """Trigger names and their statements. The name carries a hash of what it does, so that an
    old one is told from a current one."""
    found = {}
    for operation in audited.operations:
        body = _body(audited, operation)
        mark = hashlib.sha256(body.encode()).hexdigest()[:8]
        name = f"{PREFIX}{operation}_{mark}"
        found[name] = f'CREATE TRIGGER "{name}" AFTER {body}'
    return found


def _body(audited: Audited, operation: str) -> str:
    condition = audited.when.get(operation, "").format(old="OLD", new="NEW")
    when = f" WHEN ({condition})" if condition else ""
    secret = ",".join(column.name for column in audited.columns if column.secret)
    return (
        f'{operation.upper()} ON "{audited.table}" FOR EACH ROW{when} EXECUTE FUNCTION '
        f"kerfbook_audit('{audited.pk}', '{','.join(audited.skipped)}', '{secret}')"
    )
