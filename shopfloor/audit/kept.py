"""Triggers that keep the security log as it was written: a row can be counted up, and deleted once
its time is over; nothing else. A dropped trigger is left to who owns the database.
"""

from __future__ import annotations

import hashlib

from shopfloor.models import SecurityEvent

KEPT_DAYS = 400  # a year, and the month in which somebody looks back at it
TABLE = SecurityEvent._meta.db_table
PREFIX = "kerfbook_audit_kept_"
SAID = "the security log is not changed"
_SAME = ("id", "kind", "first_at", "minute", "address", "by", "text")

FUNCTION = f"""
CREATE OR REPLACE FUNCTION kerfbook_kept() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{SAID}'; END $$
"""


def triggers(vendor: str) -> dict[str, str]:
    """Trigger names and their statements; on PostgreSQL the name carries a hash of the text."""
    if vendor == "sqlite":
        young = f"OLD.last_at > strftime('%Y-%m-%d %H:%M:%f', 'now', '-{KEPT_DAYS} days')"
        return {
            f"{PREFIX}{operation}": f'CREATE TRIGGER "{PREFIX}{operation}" BEFORE '
            f'{operation.upper()} ON "{TABLE}" WHEN {when} BEGIN '
            f"SELECT RAISE(ABORT, '{SAID}'); END"
            for operation, when in (("delete", young), ("update", _changed("IS NOT")))
        }
    young = f"OLD.last_at > now() - interval '{KEPT_DAYS} days'"
    found = {}
    for operation, each in (
        ("delete", f"ROW WHEN ({young})"),
        ("update", f"ROW WHEN ({_changed('IS DISTINCT FROM')})"),
        ("truncate", "STATEMENT"),
    ):
        body = (
            f'BEFORE {operation.upper()} ON "{TABLE}" FOR EACH {each} '
            "EXECUTE FUNCTION kerfbook_kept()"
        )
        name = f"{PREFIX}{operation}_{hashlib.sha256(body.encode()).hexdigest()[:8]}"
        found[name] = f'CREATE TRIGGER "{name}" {body}'
    return found


def _changed(differs: str) -> str:
    """Anything but one more of the same: a higher count, a later time, more people it is about."""
    columns = [f'OLD."{name}" {differs} NEW."{name}"' for name in _SAME]
    grows = [
        "OLD.minute IS NULL",
        "NEW.count <= OLD.count",
        "NEW.last_at < OLD.last_at",
        "substr(NEW.about, 1, length(OLD.about)) <> OLD.about",
    ]
    return " OR ".join([*columns, *grows])
