"""When a change of a part pays this shop, electrode and nozzle as a pair or apart, and what the
advice would have saved: kept with what was learned of the part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Avg, Min, Sum

from planning.calc.cost import time_amount
from planning.calc.life.costs import LEAST, ChangeCosts, Extra, Happened, Typed, extra, whole
from planning.calc.life.learned import Learned, learn
from planning.calc.life.pair import Side, pair_or_apart
from planning.calc.life.pays import pays
from planning.calc.life.records import TooLittleData
from planning.inputs.changes import MATES, failures, planned_changes
from planning.inputs.lives import limit_of, records_of
from planning.inputs.rates import rate_book
from planning.services.change_replay import change_score
from shopfloor.chart.parts import alike
from shopfloor.models import PieceUse, SetPart, Table
from shopfloor.site.queries import shift_date_of, the_shop

USED_OVER = timedelta(days=90)  # starts a month are those of so long
YOUNGEST = timedelta(days=14)  # a month is not read off fewer days
MONTH = timedelta(days=365.25 / 12)


@dataclass(frozen=True)
class Changes:
    """Failures and planned changes, of one part and of the whole shop, and what is typed."""

    failed: Sequence[Happened]
    planned: Sequence[Happened]
    shop_failed: Sequence[Happened]
    shop_planned: Sequence[Happened]
    typed_failure: Typed | None
    typed_change: Typed | None

    @property
    def told_failures(self) -> Sequence[Happened]:
        """Those that the cost of a failure is taken from, and those not known whole."""
        return self.failed if len(whole(self.failed)) >= LEAST else self.shop_failed

    def costs(self, price: float, before_us: int | None = None) -> ChangeCosts | None:
        """With `before_us`, as they were known then. None: nobody can say."""
        failure = extra(
            _before(self.failed, before_us), _before(self.shop_failed, before_us),
            self.typed_failure,
        )  # fmt: skip
        change = self._change(before_us)
        if failure is None or change is None:
            return None
        found = ChangeCosts(price, failure, change)
        return found if found.ahead > 0 and found.failed > 0 else None

    def _change(self, before_us: int | None) -> Extra | None:
        return extra(
            _before(self.planned, before_us), _before(self.shop_planned, before_us),
            self.typed_change,
        )  # fmt: skip

    @property
    def lacking(self) -> str:
        """Where there are no costs: which nobody can say, or that neither part nor change has a
        price."""
        if self._change(None) is None:
            return "change"
        failure = extra(self.failed, self.shop_failed, self.typed_failure)
        return "failure" if failure is None else "price"


def _before(changes: Sequence[Happened], at_us: int | None) -> Sequence[Happened]:
    return changes if at_us is None else [one for one in changes if one.at_us < at_us]


def typed_of(now: datetime) -> tuple[Typed | None, Typed | None]:
    """A failure as the shop typed it, and a change by its tables' minutes; None without rates."""
    rates, day = rate_book(), shift_date_of(now)
    known = [rate.amount_minor for kind in ("machine", "labour") if (rate := rates.on(kind, day))]
    if not known:
        return None, None
    shop = the_shop()
    change_s = Table.objects.filter(active=True).aggregate(mean=Avg("change_s"))["mean"]
    change = None if change_s is None else _typed(0.0, change_s, sum(known))
    if shop.failure_lost_min is None or shop.failure_cut_minor is None:
        return None, change
    return _typed(shop.failure_cut_minor, shop.failure_lost_min * 60, sum(known)), change


def _typed(cut: float, lost_s: float, hour_minor: int) -> Typed:
    return Typed(cut, time_amount(round(lost_s * 1e6), hour_minor), lost_s)


def changes_of(part: SetPart, now: datetime) -> Changes:
    own = set(alike(part).values_list("pk", flat=True))
    typed_failure, typed_change = typed_of(now)
    return Changes(
        failures(own), planned_changes(own), failures(), planned_changes(),
        typed_failure, typed_change,
    )  # fmt: skip


def pays_body(part: SetPart, learned: Learned, now: datetime) -> dict[str, Any]:
    """JSON values. `lacking`: which cost nobody can say."""
    changes = changes_of(part, now)
    costs = changes.costs(part.price_minor)
    body: dict[str, Any] = {"starts_month": starts_a_month(part, now)}
    body["failures"] = [asdict(one) for one in changes.told_failures]
    if costs is None:
        return body | {"lacking": changes.lacking}
    body["costs"] = asdict(costs)
    try:
        lives = learned.whole
    except TooLittleData:
        return body
    found = pays(lives, costs, seed=part.pk)
    body["advice"] = asdict(found)
    if (score := change_score(part, learned, changes)) is not None:
        body["score"] = asdict(score)
    if (pair := _pair(part, Side(lives, costs), now)) is not None:
        body["pair"] = pair
    return body


def _pair(part: SetPart, side: Side, now: datetime) -> dict[str, Any] | None:
    """Only told of the electrode: its nozzle has the same answer."""
    if part.kind != "electrode":
        return None
    mate = SetPart.objects.filter(wear_set=part.wear_set_id, kind=MATES[part.kind]).first()
    if mate is None:
        return None
    costs = changes_of(mate, now).costs(mate.price_minor)
    try:
        lives = learn(records_of(mate), mate.rated_starts, limit_of(mate)).whole
    except TooLittleData:
        return None
    found = None if costs is None else pair_or_apart(side, Side(lives, costs), seed=part.pk)
    return None if found is None else asdict(found)


def starts_a_month(part: SetPart, now: datetime) -> float | None:
    """Of the last 90 days, or of as long as it was used; None: for less than two weeks."""
    uses = PieceUse.objects.filter(piece__part__in=alike(part), at__lt=now)
    first = uses.aggregate(first=Min("at"))["first"]
    if first is None or now - first < YOUNGEST:
        return None
    since = max(first, now - USED_OVER)
    burnt = uses.filter(at__gte=since).aggregate(sum=Sum("starts"))["sum"] or 0
    return float(burnt * (MONTH / (now - since)))
