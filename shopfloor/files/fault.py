"""What is wrong with a line of a list."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """A row that is left out, and why."""

    line: int
    message: str
