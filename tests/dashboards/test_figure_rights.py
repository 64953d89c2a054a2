"""Which kinds of figure open to whom: money is for those who have the right to see cost."""

from __future__ import annotations

import pytest

from planning.reports.openers import OPENERS
from shopfloor.wording.quantity import Right

pytestmark = pytest.mark.django_db
MONEY = {
    "month", "month_kind", "month_job", "month_job_kind", "month_term", "month_plate", "posting",
    "job", "job_kind", "job_line", "job_line_kind", "job_plan", "job_term", "squareness",
    "failure_cost",
}  # fmt: skip


@pytest.mark.parametrize(
    ("who", "money"),
    [("owner", 404), ("supervisor", 403), ("planner", 403), ("administrator", 403)],
)
def test_a_kind_with_money_in_it_opens_to_those_who_see_cost_alone(as_, who, money):
    client = as_(who)
    got = {kind: client.get(f"/figures/{kind}/0/").status_code for kind in OPENERS}
    assert got == {kind: money if kind in MONEY else 404 for kind in OPENERS}
    assert client.get("/figures/colour/0/").status_code == money  # nobody learns what there is


def test_the_list_of_kinds_says_it_by_type():
    assert {kind for kind, one in OPENERS.items() if one.right is Right.COST} == MONEY
