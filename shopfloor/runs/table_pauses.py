"""Settling and touch-off of a table as its own runs show them: proposed with what they rest on,
tried on runs they were not learned from, and in use once a person accepts them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, F, Max
from django.utils.translation import gettext as _

from planning.calc.numbers import written
from planning.calc.pauses import Learned, Pause, learned
from shopfloor.models import NestPlan, QueueItem, Table
from shopfloor.runs.seen_times import SeenRun, cut_runs, table_runs
from shopfloor.site.tables import table_set

DIGITS = 2  # hundredths of a second


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: what stands (None: each chart row's), what the runs show, and from what."""

    name: str
    now_s: float | None
    found_s: float
    rests_on: Pause


@dataclass(frozen=True, slots=True)
class Waiting:
    """A nest on the table's list: sheets of it, planned seconds of them now and with the figures
    proposed, loading included."""

    nest: int
    name: str
    sheets: int
    now_s: float
    then_s: float


@dataclass(frozen=True, slots=True)
class PauseProposal:
    figures: tuple[Figure, ...]
    learned: Learned
    waiting: tuple[Waiting, ...]

    @property
    def now_s(self) -> float:
        return sum(one.now_s for one in self.waiting)

    @property
    def then_s(self) -> float:
        return sum(one.then_s for one in self.waiting)

    @property
    def before(self) -> str:
        return self._hundred("before")

    @property
    def after(self) -> str:
        return self._hundred("after")

    def _hundred(self, name: str) -> str:
        tried = self.learned.replayed
        return "" if tried is None else written(getattr(tried, name) * 100, ".1f")

    @property
    def values(self) -> dict[str, Any]:
        return {one.name: one.found_s for one in self.figures}


def pause_proposal(table: Table, runs: Sequence[SeenRun]) -> PauseProposal | None:
    """None: the runs say nothing other than what stands, or too little. It may still not be
    `learned.better`, and then it is told and not offered."""
    lift_s = table.lift_s
    stands = None if table.touch_off_s is None else table.touch_off_s + lift_s
    found = learned(cut_runs(runs), table.settle_s, stands)
    figures = []
    if found.settle is not None:
        value = round(max(0.0, found.settle.value), DIGITS)
        figures.append(Figure("settle_s", table.settle_s, value, found.settle))
    if (pause := found.pause) is not None:
        touch = Pause(
            pause.value - lift_s, pause.low - lift_s, pause.high - lift_s, pause.n, pause.runs
        )
        value = round(max(0.0, touch.value), DIGITS)
        figures.append(Figure("touch_off_s", table.touch_off_s, value, touch))
    figures = [one for one in figures if one.found_s != one.now_s]
    if not figures:
        return None
    values = {one.name: one.found_s for one in figures}
    return PauseProposal(tuple(figures), found, tuple(_waiting(table, values)))


def _waiting(table: Table, values: Mapping[str, float]) -> list[Waiting]:
    """Nests that wait for the table, in the order of its list."""
    own = QueueItem.objects.filter(table=table, state="waiting").order_by()
    sheets = dict(own.values_list("nest").annotate(n=Count("pk")))
    plans = NestPlan.objects.filter(
        table=table, revision__nest__in=sheets, wear_set=F("revision__nest__wear_set"),
        total_s__isnull=False,
    ).annotate(newest=Max("revision__nest__revisions__revision"))  # fmt: skip
    found = {}
    for plan in plans.filter(revision__revision=F("newest")).select_related("revision__nest"):
        nest = plan.revision.nest
        n = sheets[nest.pk]
        now_s = (plan.total_s or 0.0) + (plan.load_s or 0.0)
        then_s = now_s + _longer_s(table, plan, values)
        found[nest.pk] = Waiting(nest.pk, nest.name, n, n * now_s, n * then_s)
    return [found[pk] for pk in sheets if pk in found]


def _longer_s(table: Table, plan: NestPlan, values: Mapping[str, float]) -> float:
    """Seconds a plan grows by: settling is counted a pierce, touch-off and lift a contour."""
    more = (plan.pierces or 0) * (values.get("settle_s", table.settle_s) - table.settle_s)
    if "touch_off_s" in values:
        contours = len(plan.arcs_s or [])
        more += contours * (values["touch_off_s"] + table.lift_s) - (plan.touch_off_s or 0.0)
    return more


@transaction.atomic
def pauses_accept(*, table: Table, shown: Mapping[str, Any], why: str) -> tuple[str, ...]:
    """Sets the figures proposed, as they were shown. Raises ValidationError where the runs or the
    table say something else by now, or nothing that may be proposed."""
    Table.objects.select_for_update().get(pk=table.pk)
    table.refresh_from_db()
    found = pause_proposal(table, table_runs(table))
    if found is None or not found.learned.better or found.values != dict(shown):
        raise ValidationError(_("Its runs show something else by now. Look again."))
    return table_set(table=table, why=why, **found.values)
