"""What people entered of a run's burning for the time its source was silent."""

from __future__ import annotations

from typing import NamedTuple

from planning.calc.entered import Entry, split_entered
from planning.calc.spans import Span, intersect, subtract, union
from planning.calc.spent import unheard
from planning.inputs.types import RunIn


class Entered(NamedTuple):
    """`whole`: nothing of the torch's time in the run is left of which neither a source nor a
    person tells."""

    burning_us: int
    whole: bool


def torch_times(run: RunIn) -> dict[str, list[Span]]:
    """When each torch was the run's."""
    torches = {segment.torch for segment in run.segments}
    return {
        torch: union((seg.from_us, seg.to_us) for seg in run.segments if seg.torch == torch)
        for torch in sorted(torches)
    }


def entered_burning(run: RunIn) -> dict[str, Entered]:
    """The burning entered for the silent time of each torch in the run, stoppages apart."""
    stops = [(stop.from_us, stop.to_us) for stop in run.stoppages]
    found = {}
    for torch, own in torch_times(run).items():
        own = intersect(own, union(run.windows))
        burns = [(arc.on_us, arc.off_us) for arc in run.arcs if arc.torch == torch]
        if run.measured:
            silent = unheard(own, burns, stops, run.silences)
        else:
            silent = subtract(own, union(stops))
        entries = [entry for entry in run.entries if entry.torch == torch]
        unknown, parts = split_entered(silent, entries)
        found[torch] = Entered(sum(us for _, us in parts), bool(parts) and not unknown)
    return found


def entries_within(run: RunIn) -> list[Entry]:
    """Entries as far as their torch was the run's: of other times they say nothing about it."""
    times = torch_times(run)
    return [
        Entry(entry.torch, span, *entry.within([span]))
        for entry in run.entries
        for span in intersect([entry.span], times.get(entry.torch, []))
    ]


def planned_burning(run: RunIn) -> dict[str, int]:
    """The plan's microseconds of burning by torch, the same for each segment: a plan does not say
    which torch burns what. Without segments all of it belongs to no torch ("")."""
    all_us = run.plan.cut_us + run.plan.pierce_us if run.plan else 0
    if not run.segments:
        return {"": all_us}
    found: dict[str, int] = {}
    count = len(run.segments)
    for place, segment in enumerate(run.segments):
        own_us = all_us // count + (place < all_us % count)
        found[segment.torch] = found.get(segment.torch, 0) + own_us
    return found
