"""Whether two cut shapes are one part: ``judge`` is the way in."""

from __future__ import annotations

from planning.calc.alike.judge import Change, Verdict, judge
from planning.calc.alike.outline import Outline, outline_of, tolerance_mm

__all__ = ["Change", "Outline", "Verdict", "judge", "outline_of", "tolerance_mm"]
