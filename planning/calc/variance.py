"""A run's elapsed time against its plan, in terms that sum exactly.

elapsed - planned = cutting + piercing + travel + repeats + stoppages + waits + unknown, with
loading beside them. All in integer microseconds, so nothing is lost to rounding. Terms the feed
cannot tell apart are shown as one ("cutting with piercing"), on both sides.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from planning.calc import itemised
from planning.calc import spent as s
from planning.calc.entered import Entry
from planning.calc.spans import Span, intersect, length, union
from planning.calc.spent import Burn


@dataclass(frozen=True, slots=True)
class PlannedTimes:
    """A plan's microseconds. `load_us` is loading and unloading; arcs and travel (with touch-off)
    by contour number where they are known."""

    cut_us: int
    pierce_us: int
    travel_us: int
    touch_off_us: int
    load_us: int = 0
    arc_by_contour_us: Mapping[int, int] | None = None
    travel_by_contour_us: Mapping[int, int] | None = None
    pierced_contours: frozenset[int] | None = None  # None: unknown which are pierced

    @property
    def total_us(self) -> int:
        return self.cut_us + self.pierce_us + self.travel_us + self.touch_off_us + self.load_us


@dataclass(frozen=True, slots=True)
class Variance:
    """`terms` sum to `elapsed_us - planned_us`, `spent` to `elapsed_us`. Without a plan `planned`
    and `terms` are empty. `misfires` is None where the source cannot know."""

    planned_us: int | None
    elapsed_us: int
    spent: Mapping[str, int]
    planned: Mapping[str, int]
    terms: Mapping[str, int]
    misfires: int | None

    @property
    def known_share(self) -> float | None:
        """Share of the elapsed time that is known; None where nothing elapsed."""
        if not self.elapsed_us:
            return None
        return 1 - self.spent.get(s.UNKNOWN, 0) / self.elapsed_us


# Our assumption: a source whose pierce lines come before half of the planned delay marks the
# beginning of a pierce, not its end, and then cannot tell piercing from cutting.
LEAST_PIERCE = 0.5


def pierce_ends_known(burns: Sequence[Burn], plan: PlannedTimes | None) -> bool:
    """Whether the pierce lines of these arcs can be the instants at which they were through."""
    seen = [burn.pierced_us - burn.on_us for burn in burns if burn.pierced_us is not None]
    if not seen or plan is None or not plan.arc_by_contour_us:
        return False
    return sum(seen) / len(seen) >= LEAST_PIERCE * plan.pierce_us / len(plan.arc_by_contour_us)


def run_variance(
    windows: Iterable[Span],
    burns: Sequence[Burn],
    stoppages: Iterable[Span],
    silences: Iterable[Span],
    plan: PlannedTimes | None,
    *,
    pierces_known: bool,
    entries: Iterable[Entry] = (),
) -> Variance:
    """A measured run's variance. `windows` are its segments and its own stoppages. Piercing is
    apart from cutting only where the source tells of pierces and of their ends."""
    apart = pierces_known and pierce_ends_known(burns, plan)
    items = itemised.itemised(
        windows,
        burns,
        stoppages,
        silences,
        pierces_known=apart,
        planned_arc_us=plan.arc_by_contour_us if plan else None,
        travel_us=plan.travel_by_contour_us if plan else None,
        entries=entries,
    )
    spent = itemised.summed(items)
    planned: dict[str, int] = {}
    if plan:
        merged = s.TRAVEL_WITH_WAITING in spent
        if apart:
            planned = {s.CUTTING: plan.cut_us, s.PIERCING: plan.pierce_us}
        else:
            planned = {s.CUTTING_WITH_PIERCING: plan.cut_us + plan.pierce_us}
        planned[s.TRAVEL_WITH_WAITING if merged else s.TRAVEL] = plan.travel_us + plan.touch_off_us
        planned[s.LOADING_WITH_WAITING] = plan.load_us
    return _against(spent, planned, plan, misfires(burns, plan, pierces_known=pierces_known))


def entered_variance(
    windows: Iterable[Span], stoppages: Iterable[Span], plan: PlannedTimes | None
) -> Variance:
    """Of a run that was typed in: its length and stoppages are all that is known of it."""
    whole = union(windows)
    stopped = length(intersect(union(stoppages), whole))
    spent = {s.ALL_BUT_STOPPAGES: length(whole) - stopped, s.STOPPAGES: stopped}
    planned = {s.ALL_BUT_STOPPAGES: plan.total_us} if plan else {}
    return _against({name: us for name, us in spent.items() if us}, planned, plan, None)


def misfires(
    burns: Sequence[Burn], plan: PlannedTimes | None, *, pierces_known: bool
) -> int | None:
    """Arcs that should have pierced and did not. None, "can't know", where the feed tells of no
    pierces, or where the plan does not say which contours are pierced: an edge start looks alike.
    """
    if not pierces_known or plan is None or plan.pierced_contours is None:
        return None
    all_pierced = len(plan.pierced_contours) == len(plan.arc_by_contour_us or ())
    return sum(
        burn.pierced_us is None
        and (all_pierced if burn.contour is None else burn.contour in plan.pierced_contours)
        for burn in burns
    )


def _against(
    spent: dict[str, int], planned: dict[str, int], plan: PlannedTimes | None, misfired: int | None
) -> Variance:
    planned = {name: us for name, us in planned.items() if us}
    names = dict.fromkeys([*spent, *planned]) if plan else {}
    terms = {name: spent.get(name, 0) - planned.get(name, 0) for name in names}
    return Variance(
        planned_us=plan.total_us if plan else None,
        elapsed_us=sum(spent.values()),
        spent=spent,
        planned=planned,
        terms=terms,
        misfires=misfired,
    )
