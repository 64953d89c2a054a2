"""Where a run's time went: the arcs, pauses, stops and silences that each of its terms is made of.
A term is the sum of its items; all of them sum to the run's windows exactly.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from planning.calc import spent as s
from planning.calc.entered import Entry, split_entered
from planning.calc.spans import Span, intersect, length, subtract, union


@dataclass(frozen=True, slots=True)
class Item:
    """`us` microseconds from `from_us` on (not all of them in one piece); `burn` is the index of
    the arc they were of, None for time in which none burnt."""

    from_us: int
    us: int
    burn: int | None = None


Items = dict[str, list[Item]]


def itemised(
    windows: Iterable[Span],
    burns: Sequence[s.Burn],
    stoppages: Iterable[Span],
    silences: Iterable[Span],
    *,
    pierces_known: bool,
    planned_arc_us: Mapping[int, int] | None = None,
    travel_us: Mapping[int, int] | None = None,
    entries: Iterable[Entry] = (),
) -> Items:
    """The items of a run's windows by the name of their term.

    `travel_us` is the planned travel and touch-off before each contour. Pauses are told apart as
    travel and waits only where every arc that made something has its contour and its travel in the
    plan; else they are one. Piercing is apart from cutting only where the feed tells of pierces.
    The time before the first arc and after the last is loading with waiting. `entries` are as in
    `spent.shares`. Where two torches burn at once the time is the one's that lit first.
    """
    whole = union(windows)
    order = sorted(range(len(burns)), key=lambda at: (burns[at].on_us, burns[at].off_us))
    made_of = s.repeated([burns[at] for at in order], planned_arc_us or {})
    vain = dict(zip(order, made_of, strict=True))
    found: Items = {}
    burning = _arcs(found, whole, burns, order, vain, pierces_known)
    stopped: list[Span] = []
    near, reach_us = Near(burning), 0
    for start, end in sorted(stoppages):
        piece = max(start, reach_us), end
        fresh = subtract(intersect([piece], whole), near.to(piece)) if piece[0] < end else []
        reach_us = max(reach_us, end)
        _keep(found, s.STOPPAGES, fresh)
        stopped += fresh
    unknown = subtract(subtract(intersect(union(silences), whole), burning), stopped)
    idle = subtract(subtract(subtract(whole, burning), stopped), unknown)
    unknown, entered = split_entered(unknown, entries)
    for span in unknown:
        _keep(found, s.UNKNOWN, [span])
    for covered, us in entered:
        _keep_us(found, s.ENTERED_BURNING, covered, us)
        _keep_us(found, s.ENTERED_REST, covered, length(covered) - us)
    _pauses(found, idle, [(burns[at], vain[at]) for at in order], travel_us or {})
    return {name: items for name, items in found.items() if items}


def summed(items: Items) -> dict[str, int]:
    """Microseconds by name."""
    return {name: sum(item.us for item in own) for name, own in items.items()}


def _keep(found: Items, name: str, spans: Sequence[Span], burn: int | None = None) -> None:
    if us := length(spans):
        found.setdefault(name, []).append(Item(spans[0][0], us, burn))


def _keep_us(found: Items, name: str, spans: Sequence[Span], us: int) -> None:
    if us:
        found.setdefault(name, []).append(Item(spans[0][0], us))


def _arcs(
    found: Items,
    whole: list[Span],
    burns: Sequence[s.Burn],
    order: Sequence[int],
    vain: Mapping[int, bool],
    pierces_known: bool,
) -> list[Span]:
    """Arcs that made something first, then those in vain; gives the time something burnt."""
    through = Near(
        union(
            (burns[at].pierced_us or burns[at].on_us, burns[at].off_us)
            for at in order
            if not vain[at]
        )
    )
    making: list[Span] = []
    for at, fresh in _fresh(burns, [at for at in order if not vain[at]], Near(whole)):
        making += fresh
        if not pierces_known:
            _keep(found, s.CUTTING_WITH_PIERCING, fresh, at)
            continue
        pierced = through.to((fresh[0][0], fresh[-1][1]))
        _keep(found, s.CUTTING, intersect(fresh, pierced), at)
        _keep(found, s.PIERCING, subtract(fresh, pierced), at)
    useful, lost = Near(making), list[Span]()
    for at, fresh in _fresh(burns, [at for at in order if vain[at]], Near(whole)):
        own = subtract(fresh, useful.to((fresh[0][0], fresh[-1][1])))
        _keep(found, s.REPEATS, own, at)
        lost += own
    return union([*making, *lost])


def _fresh(
    burns: Sequence[s.Burn], order: Sequence[int], whole: Near
) -> Iterator[tuple[int, list[Span]]]:
    """Of each arc, in the order they lit, the time within the windows in which none before it
    burnt; arcs with none are left out."""
    reach_us = 0  # what burnt before an arc lit and still burns does so up to here
    for at in order:
        piece = max(burns[at].on_us, reach_us), burns[at].off_us
        reach_us = max(reach_us, piece[1])
        if piece[0] < piece[1] and (fresh := intersect([piece], whole.to(piece))):
            yield at, fresh


class Near:
    """Sorted, disjoint spans, of which those that meet another one are found at once."""

    def __init__(self, spans: list[Span]) -> None:
        self.spans = spans
        self._starts = [start for start, _ in spans]
        self._ends = [end for _, end in spans]

    def to(self, span: Span) -> list[Span]:
        first = bisect_right(self._ends, span[0])
        return self.spans[first : bisect_left(self._starts, span[1])]


def _pauses(
    found: Items,
    idle: list[Span],
    order: Sequence[tuple[s.Burn, bool]],
    travel_us: Mapping[int, int],
) -> None:
    """Time between arcs by name. What lies between two arcs that made something is one pause,
    however often the torch fired in vain meanwhile."""
    if not order:
        _each(found, s.LOADING_WITH_WAITING, idle)
        return
    apart = all(bad or burn.contour in travel_us for burn, bad in order)
    last_off = max(burn.off_us for burn, _ in order)
    pooled: list[Span] = []
    place, first = 0, True
    for burn, bad in order:
        while place < len(idle) and idle[place][0] < burn.on_us:
            pooled.append(idle[place])
            place += 1
        if bad and not first:
            continue
        planned = 0 if bad or burn.contour is None else travel_us.get(burn.contour, 0)
        us = length(pooled)
        if first:
            travel, rest = (min(us, planned) if apart else 0), s.LOADING_WITH_WAITING
        elif not apart:
            travel, rest = 0, s.TRAVEL_WITH_WAITING
        else:
            on_the_way = us <= max(planned * s.TRAVEL_SLACK, s.TRAVEL_LEAST_US)
            travel, rest = (us if on_the_way else planned), s.WAITS
        _split(found, pooled, travel, rest)
        first, pooled = False, []
    after = [(max(start, last_off), end) for start, end in idle[place:] if end > last_off]
    before = [(start, min(end, last_off)) for start, end in idle[place:] if start < last_off]
    _each(found, s.LOADING_WITH_WAITING, after)
    _each(found, s.WAITS if apart else s.TRAVEL_WITH_WAITING, [*pooled, *before])


def _split(found: Items, pooled: Sequence[Span], travel: int, rest: str) -> None:
    """One pause: so much of it travel, what is left `rest`."""
    us = length(pooled)
    if travel:
        found.setdefault(s.TRAVEL, []).append(Item(pooled[0][0], travel))
    if us - travel:
        found.setdefault(rest, []).append(Item(pooled[0][0], us - travel))


def _each(found: Items, name: str, spans: Sequence[Span]) -> None:
    for span in spans:
        _keep(found, name, [span])
