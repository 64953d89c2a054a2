"""What people entered of a run's burning for the time its source was silent."""

from __future__ import annotations

from typing import NamedTuple

from planning.calc.entered import split_entered
from planning.calc.spans import subtract, union
from planning.calc.spent import unheard
from planning.inputs.types import RunIn


class Entered(NamedTuple):
    """`whole`: nothing of the run's time is left of which neither a source nor a person tells."""

    burning_us: int
    whole: bool


def entered_burning(run: RunIn) -> Entered:
    """The burning entered for a run's silent time, stoppages apart."""
    burns = [(arc.on_us, arc.off_us) for arc in run.arcs]
    stops = [(stop.from_us, stop.to_us) for stop in run.stoppages]
    if run.measured:
        silent = unheard(run.windows, burns, stops, run.silences)
    else:
        silent = subtract(union(run.windows), union(stops))
    unknown, parts = split_entered(silent, run.entries)
    return Entered(sum(us for _, us in parts), bool(parts) and not unknown)
