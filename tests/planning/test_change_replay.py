"""The advice on changes followed through a shop's past."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

from planning.calc.life.costs import ChangeCosts, Extra
from planning.calc.life.records import Life
from planning.services.change_replay import Course, _advice


@dataclass
class Told:
    """A planned change was thought to cost 1 on top of the piece; it cost 500."""

    failed = ()

    def costs(self, price, before_us=None):
        planned = 500.0 if before_us is None else 1.0
        return ChangeCosts(price, _extra(2000.0), _extra(planned))


def _extra(lost):
    return Extra(0.0, 0.0, lost, 60.0, 0.0, lost, lost, 5, "part")


def test_what_is_followed_costs_what_a_change_has_cost_not_what_was_thought():
    courses = [Course(Life(60.0 + n, True, 0.0), [n], [60 + n], n + 1) for n in range(8)]
    told = _advice(SimpleNamespace(price_minor=100, pk=1), courses, Told(), 60, 100)
    assert told.age is not None
    assert told.ahead == 600
