"""The plain reader: every block, every note, every error."""

from __future__ import annotations

from planning.calc.program.types import Dialect, Program


def read_program(text: bytes, dialect: Dialect | None = None) -> Program:
    """Read a program's bytes. Raises ``ProgramError`` with the line where it cannot be read."""
    raise NotImplementedError
