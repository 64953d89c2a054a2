"""What each microsecond of a run's terms was: the arcs, pauses, stops and silences beneath `spent`.

The items of a name sum to what `spent.spent` gives for it, exactly.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
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
    """The same arguments as `spent.spent`. Where two torches burn at once the time is the one's
    that lit first."""
    whole = union(windows)
    order = sorted(range(len(burns)), key=lambda at: (burns[at].on_us, burns[at].off_us))
    made_of = s.repeated([burns[at] for at in order], planned_arc_us or {})
    vain = dict(zip(order, made_of, strict=True))
    found: Items = {}
    burning = _arcs(found, whole, burns, order, vain, pierces_known)
    stopped: list[Span] = []
    for stop in sorted(stoppages):
        fresh = subtract(subtract(intersect(union([stop]), whole), burning), stopped)
        _keep(found, s.STOPPAGES, fresh)
        stopped = union([*stopped, *fresh])
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
    through = union(
        (burns[at].pierced_us or burns[at].on_us, burns[at].off_us) for at in order if not vain[at]
    )
    covered: list[Span] = []
    for at in sorted(order, key=lambda at: vain[at]):
        fresh = subtract(intersect(union([(burns[at].on_us, burns[at].off_us)]), whole), covered)
        covered = union([*covered, *fresh])
        if vain[at]:
            _keep(found, s.REPEATS, fresh, at)
        elif pierces_known:
            _keep(found, s.CUTTING, intersect(fresh, through), at)
            _keep(found, s.PIERCING, subtract(fresh, through), at)
        else:
            _keep(found, s.CUTTING_WITH_PIERCING, fresh, at)
    return covered


def _pauses(
    found: Items,
    idle: list[Span],
    order: Sequence[tuple[s.Burn, bool]],
    travel_us: Mapping[int, int],
) -> None:
    """Time between arcs, by the rules of `spent`."""
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
