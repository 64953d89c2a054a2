"""What is audited, and how much of it."""

from __future__ import annotations

from dataclasses import dataclass

from django.apps import apps
from django.db import models

OPERATIONS = ("insert", "update", "delete")
SECRET = frozenset({"password", "pin_hash", "token_hash", "code_hash"})
MASK = "***"

# Made by machines and rebuilt at will, or a log of their own.
LEFT_OUT = frozenset(
    {
        "BackupRun",
        "Work",
        "Incoming",
        "Watermark",
        "Change",
        "DrawingPlan",
        "NestPlan",
        "NoteSweep",
        "PieceOutlook",
        "PieceUse",
        "RunDay",
        "RunVariance",
        "ScreenSignIn",
        "SecurityEvent",
        "ShopNote",
        "Statement",
        "Summary",
        "TableTime",
        "Throttle",
        "Verification",
    }
)
# Their rows are their own record of having been made; only what happens to them later is kept.
MADE_ELSEWHERE = frozenset({"Action", "Contour", "Posting"})
# Columns that change by themselves and say nothing.
NOISE = {
    "User": frozenset({"last_login"}),
    "Terminal": frozenset({"last_seen_at", "clock_offset_ms"}),
    "Segment": frozenset({"last_contour"}),  # moves with every arc
}
# Heavy columns that can be made again from the program's bytes.
HEAVY = {"Contour": frozenset({"points"}), "DrawingRevision": frozenset({"contours"})}
# operation -> condition, with {old} and {new} for the row before and after
ONLY_WHEN = {
    "ArcAssignment": {
        "insert": "{new}.by_id IS NOT NULL",
        "update": "({old}.by_id IS NOT NULL OR {new}.by_id IS NOT NULL)",
        "delete": "{old}.by_id IS NOT NULL",
    },
    "Action": {"update": "{old}.state <> {new}.state"},
}


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    secret: bool
    json: bool


@dataclass(frozen=True, slots=True)
class Audited:
    """One table: its key, the columns kept, the operations, and conditions by operation."""

    table: str
    pk: str
    columns: tuple[Column, ...]
    skipped: tuple[str, ...]
    operations: tuple[str, ...]
    when: dict[str, str]


def audited_models() -> list[type[models.Model]]:
    """The shop's records, and who has which rights."""
    config = apps.get_app_config("shopfloor")
    own = [model for model in config.get_models() if model.__name__ not in LEFT_OUT]
    user = apps.get_model("shopfloor", "User")
    return [*own, user.groups.through, user.user_permissions.through]


def audited(model: type[models.Model]) -> Audited:
    name = model.__name__
    kept, skipped = [], []
    dropped = NOISE.get(name, frozenset()) | HEAVY.get(name, frozenset())
    for field in model._meta.concrete_fields:
        column = str(field.column)
        if field.name in dropped or isinstance(field, models.BinaryField):
            skipped.append(column)
        else:
            kept.append(Column(column, field.name in SECRET, isinstance(field, models.JSONField)))
    return Audited(
        table=model._meta.db_table,
        pk=str(model._meta.pk.column) if model._meta.pk else "id",
        columns=tuple(kept),
        skipped=tuple(skipped),
        operations=OPERATIONS[1:] if name in MADE_ELSEWHERE else OPERATIONS,
        when=ONLY_WHEN.get(name, {}),
    )
