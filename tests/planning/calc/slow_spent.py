"""A run's time by name, added up without items: what `planning.calc.itemised` is held against."""

from __future__ import annotations

from planning.calc.entered import split_entered
from planning.calc.spans import intersect, length, subtract, union
from planning.calc.spent import (
    CUTTING,
    CUTTING_WITH_PIERCING,
    ENTERED_BURNING,
    ENTERED_REST,
    LOADING_WITH_WAITING,
    PIERCING,
    REPEATS,
    STOPPAGES,
    TRAVEL,
    TRAVEL_LEAST_US,
    TRAVEL_SLACK,
    TRAVEL_WITH_WAITING,
    UNKNOWN,
    WAITS,
    repeated,
)


def slow_spent(
    windows,
    burns,
    stoppages,
    silences,
    *,
    pierces_known,
    planned_arc_us=None,
    travel_us=None,
    entries=(),
):
    """Microseconds of a run's windows by name; they sum to the windows exactly.

    `travel_us` is the planned travel and touch-off before each contour. Pauses are told apart as
    travel and waits only where every arc that made something has its contour and its travel in the
    plan; else they are one. Piercing is apart from cutting only where the feed tells of pierces.
    The time before the first arc and after the last is loading with waiting. `entries` are as in
    `shares`.
    """
    whole = union(windows)
    order = sorted(burns, key=lambda burn: (burn.on_us, burn.off_us))
    vain = repeated(order, planned_arc_us or {})
    made = [burn for burn, bad in zip(order, vain, strict=True) if not bad]
    making = intersect(union((burn.on_us, burn.off_us) for burn in made), whole)
    burning = intersect(union((burn.on_us, burn.off_us) for burn in order), whole)
    stopped = subtract(intersect(union(stoppages), whole), burning)
    unknown = subtract(subtract(intersect(union(silences), whole), burning), stopped)
    idle = subtract(subtract(subtract(whole, burning), stopped), unknown)
    unknown, entered = split_entered(unknown, entries)
    parts = {
        REPEATS: length(burning) - length(making),
        STOPPAGES: length(stopped),
        UNKNOWN: length(unknown),
        ENTERED_BURNING: sum(us for _, us in entered),
        ENTERED_REST: sum(length(covered) - us for covered, us in entered),
    }
    if pierces_known:
        through = union((burn.pierced_us or burn.on_us, burn.off_us) for burn in made)
        cutting = length(intersect(through, making))
        parts[CUTTING], parts[PIERCING] = cutting, length(making) - cutting
    else:
        parts[CUTTING_WITH_PIERCING] = length(making)
    parts |= _pauses(idle, order, vain, travel_us or {})
    return {name: us for name, us in parts.items() if us}


def _pauses(idle, order, vain, travel_us):
    """Idle time by name. What lies between two arcs that made something is one pause, however
    often the torch fired in vain meanwhile."""
    if not order:
        return {LOADING_WITH_WAITING: length(idle)}
    apart = all(bad or burn.contour in travel_us for burn, bad in zip(order, vain, strict=True))
    ends = [
        (burn.on_us, None if bad else burn.contour) for burn, bad in zip(order, vain, strict=True)
    ]
    last_off = max(burn.off_us for burn in order)
    names = {TRAVEL: 0, WAITS: 0, TRAVEL_WITH_WAITING: 0, LOADING_WITH_WAITING: 0}
    place = pooled = 0
    first = True
    for (on_us, contour), bad in zip(ends, vain, strict=True):
        while place < len(idle) and idle[place][0] < on_us:
            pooled += idle[place][1] - idle[place][0]
            place += 1
        if bad and not first:
            continue
        planned = travel_us.get(contour, 0) if contour is not None else 0
        if first:
            travel = min(pooled, planned) if apart else 0
            names[TRAVEL] += travel
            names[LOADING_WITH_WAITING] += pooled - travel
        elif not apart:
            names[TRAVEL_WITH_WAITING] += pooled
        else:
            on_the_way = pooled <= max(planned * TRAVEL_SLACK, TRAVEL_LEAST_US)
            travel = pooled if on_the_way else planned
            names[TRAVEL] += travel
            names[WAITS] += pooled - travel
        first, pooled = False, 0
    tail = sum(end - max(start, last_off) for start, end in idle[place:] if end > last_off)
    names[LOADING_WITH_WAITING] += tail
    names[TRAVEL_WITH_WAITING if not apart else WAITS] += pooled + length(idle[place:]) - tail
    return names
