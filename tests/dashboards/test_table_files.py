"""A table of a page as a file: what its reader sees there, and nothing else."""

from __future__ import annotations

import csv
import io

import pytest

from shopfloor.models import Posting
from tests.planning import cast
from tests.planning.test_reports import shop_month

__all__ = ["shop_month"]

pytestmark = pytest.mark.django_db


def _rows(response):
    return list(csv.reader(io.StringIO(response.content.decode())))


@pytest.mark.parametrize(("who", "money"), [("owner", True), ("supervisor", False)])
def test_money_is_in_the_file_of_those_who_see_it_on_the_page(as_, who, money):
    cast.sheet()
    client = as_(who)
    got = client.get("/stock/?state=all&table=Sheets&as=csv")
    assert got["Content-Disposition"] == 'attachment; filename="sheets.csv"'
    assert any(head.startswith("Cost") for head in _rows(got)[0]) is money
    assert client.get("/stock/?state=all&table=Sheets&as=xlsx").content[:2] == b"PK"
    assert client.get("/stock/?state=all&table=Jobs&as=csv").status_code == 404
    page = client.get("/stock/?state=all&table=Sheets&as=pdf")
    assert page["Content-Type"].startswith("text/html")


def test_a_table_of_the_month_is_a_file_for_the_owner_alone(as_, shop_month):
    """128.00 machine, 40.00 labour, 9.60 credit or material, 0.20 wear: as `shop_month` says."""
    asked = "/cost/?month=2026-10&table=By+kind&as=csv"
    head, *rows = _rows(as_("owner").get(asked))
    assert head == ["Kind", "Amount, USD"]
    total = sum(row.amount_minor for row in Posting.objects.filter(month__first_day="2026-10-01"))
    assert ["machine", "128.0"] in rows
    assert sum(float(amount) for _, amount in rows) == pytest.approx(total / 100)
    assert as_("supervisor").get(asked).status_code == 403
    assert as_("owner").get(asked.replace("By+kind", "No+such")).status_code == 404


@pytest.mark.parametrize("field", ["code", "-area_mm2", "received_at", "-cost_minor", "no_such"])
def test_a_list_in_pages_is_sorted_by_the_server(as_, a_run, field):
    assert as_("owner").get(f"/stock/?state=all&sort={field}").status_code == 200
    for page in ("jobs", "nests", "nests/drawings", "stock/heats"):
        assert as_("owner").get(f"/{page}/?sort={field}").status_code == 200


def test_a_list_does_not_claim_an_order_it_was_not_asked_for(as_):
    client = as_("owner")
    assert ", by due time" in client.get("/jobs/").content.decode()
    assert ", by due time" not in client.get("/jobs/?sort=title").content.decode()
