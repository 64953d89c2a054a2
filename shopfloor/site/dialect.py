"""How a table reads programs."""

from __future__ import annotations

import dataclasses
from typing import Any

from planning.calc.program import Dialect
from shopfloor.models import (
    Table,
)


def dialect_of(table: Table | None) -> Dialect:
    """How a table reads programs: ISO 6983 with M3/M5 where nothing else is set."""
    if table is None:
        return Dialect()
    known = {entry.name for entry in dataclasses.fields(Dialect)} - {"torch_on", "torch_off"}
    more: dict[str, Any] = {name: value for name, value in table.dialect.items() if name in known}
    if "torch_mark" in more:
        more["torch_mark"] = tuple(more["torch_mark"])
    return Dialect(torch_on=codes_in(table.torch_on), torch_off=codes_in(table.torch_off), **more)


def codes_in(text: str) -> tuple[str, ...]:
    """Codes as a person types them: M3, M7."""
    return tuple(code.strip() for code in text.replace(",", " ").split())
