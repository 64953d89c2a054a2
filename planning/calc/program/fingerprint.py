"""A program's path as a hash, so that a changed comment voids nothing."""

from __future__ import annotations

import hashlib

import numpy as np

from planning.calc.program.types import Floats, Program

_STEP_MM = 1e-4


def path_hash_of(program: Program) -> str:
    """SHA-256 over ends, bulges and torch of every move that has a length, in steps of 0.0001 mm.

    An arc enters by the middle of its sweep, so that centre and radius forms of it agree.
    """
    moves = program.moves
    some = moves.length_mm >= _STEP_MM
    half = moves.sweep_rad / 2
    rx, ry = moves.x - moves.cx, moves.y - moves.cy
    middle_x = np.where(half == 0, 0.0, moves.cx + rx * np.cos(half) + ry * np.sin(half))
    middle_y = np.where(half == 0, 0.0, moves.cy + ry * np.cos(half) - rx * np.sin(half))
    digest = hashlib.sha256()
    for values in (moves.x, moves.y, middle_x, middle_y):
        digest.update(_steps(values[some]).tobytes())
    digest.update(moves.arc[some].astype("<i4").tobytes())
    return digest.hexdigest()


def _steps(values: Floats) -> np.ndarray:
    return np.rint(values / _STEP_MM).astype("<i8")
