"""Whether the current that was measured is that of the set on record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from django.utils.translation import gettext as _

from planning.calc.numbers import filled
from shopfloor.models import Fitting, Torch, WearSet
from shopfloor.runs.arcs import to_us
from shopfloor.wear.fitted import fittings_in, set_of
from telemetry.counted import counted
from telemetry.models import Arc

# Our assumptions: a set is run within this share of its own current, a few arcs are enough to
# tell, and what burnt half a day ago says nothing of now.
OFF_BY = 0.15
ARCS = 5
NEEDED = 3
BACK = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class CurrentMismatch:
    """The last arcs of a torch burnt at about `amps`; `fitted` is on record, and `like` is the one
    set of the shop that is run at such a current, where there is just one."""

    torch: Torch
    amps: float
    arcs: int
    fitted: WearSet
    like: WearSet | None

    @property
    def words(self) -> str:
        words = (
            _(
                "The last {arcs} arcs burnt at about {amps:.0f} A, as {like} does; "
                "{fitted} is on record."
            )
            if self.like
            else _("The last {arcs} arcs burnt at about {amps:.0f} A; {fitted} is on record.")
        )
        return filled(words, arcs=self.arcs, amps=self.amps, like=self.like, fitted=self.fitted)


def current_mismatch(
    torch: Torch, now: datetime, fittings: Sequence[Fitting] | None = None
) -> CurrentMismatch | None:
    """None where the measured amps agree with the fitted set, or say too little."""
    inside = fittings_in(torch) if fittings is None else list(fittings)
    if not inside:
        return None
    since_us = to_us(since_of(inside, now))
    arcs = counted(
        Arc.objects.filter(
            table=torch.table.code, torch=torch.code, amps__gt=0,
            on_us__gte=since_us, on_us__lt=to_us(now),
        )
    )  # fmt: skip
    latest = arcs.order_by("-on_us").values_list("amps", flat=True)[:ARCS]
    return amps_judged(torch, inside, [amps for amps in latest if amps is not None])


def since_of(fittings: Sequence[Fitting], now: datetime) -> datetime:
    """From when on arcs tell of what is in a torch now."""
    return max(now - BACK, max(one.fitted_at for one in fittings))


def amps_judged(
    torch: Torch, fittings: Sequence[Fitting], seen: list[float]
) -> CurrentMismatch | None:
    """`seen`: the amps of the last `ARCS` arcs, measured since these pieces are in."""
    fitted = set_of(list(fittings))
    if fitted is None:
        return None
    if len(seen) < NEEDED or _agree(median(seen), fitted):
        return None
    others = [one for one in WearSet.objects.filter(active=True) if _agree(median(seen), one)]
    like = others[0] if len(others) == 1 else None
    return CurrentMismatch(torch, median(seen), len(seen), fitted, like)


def _agree(amps: float, wear_set: WearSet) -> bool:
    return abs(amps - wear_set.current_a) <= OFF_BY * wear_set.current_a
