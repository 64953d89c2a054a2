"""Contours of a read program."""

from __future__ import annotations

from planning.calc.program.types import Contour, Program


def contours_of(program: Program) -> tuple[Contour, ...]:
    raise NotImplementedError
