"""Everything that wants a hand at one moment, as codes and numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class Found:
    """One thing. `code` is a key of `words.KINDS`, `subject` tells it from others of that code;
    `values` are JSON, named by their unit. `since_us` is when the thing itself began, where that is
    known; `table` a table's code."""

    code: str
    subject: str
    values: Mapping[str, Any] = field(default_factory=dict)
    table: str = ""
    since_us: int | None = None


@dataclass(frozen=True, slots=True)
class Moment:
    """When it is looked, and from when on the arcs at hand are all there are."""

    now: datetime
    now_us: int
    start_us: int
    ask_after_us: int  # a pause longer than this wants a word
