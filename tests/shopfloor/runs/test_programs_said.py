"""The program a table's own lines name, on today's page and on the run's."""

from __future__ import annotations

import pytest

from dashboards.access import Reader
from dashboards.today.rows import page_of
from planning.reports import run_detail, today
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0
from tests.shopfloor.runs.test_sources import CONTACT, LOG, Source, burns


@pytest.fixture
def run(floor):
    item = floor.queue(floor.nest("N-1", contours=4))
    return floor.done("start", T0 - 2 * MINUTE, queue_item=item.pk)["run"]


def facts():
    [row] = page_of(today(now=T0 + 4 * MINUTE), Reader(), {}).rows
    return [fact.text for fact in row.facts]


def test_a_source_that_names_programs_names_them_on_both_pages(floor, run, client, supervisor):
    source = Source("log", LOG)
    source.hear([(T0 - MINUTE, "PROGRAM,first.nc"), *burns(T0, [20.0], gap_s=6.0)])
    source.hear([(T0 + MINUTE, "PROGRAM,n<1>.nc"), *burns(T0 + 2 * MINUTE, [20.0] * 3)])
    floor.follow()
    assert "says program n<1>.nc" in facts()
    assert run_detail(run_id=run).programs == ("first.nc", "n<1>.nc")
    client.force_login(supervisor)
    page = client.get(f"/runs/{run}/").content.decode()
    assert "name its program: <b>first.nc, n&lt;1&gt;.nc</b>" in page


def test_a_log_beside_a_bare_contact_names_them_and_a_contact_alone_names_none(floor, run):
    contact = Source("contact", CONTACT)
    contact.hear(burns(T0, [30.0], on="1", off="0"), numbered=False)
    floor.follow()
    assert not any("program" in fact for fact in facts())
    assert run_detail(run_id=run).programs == ()
    log = Source("log", LOG)
    log.hear([(T0 + MINUTE, "PROGRAM,N-1.nc")])
    contact.hear(burns(T0 + MINUTE + SECOND, [30.0], on="1", off="0"), numbered=False)
    floor.follow()
    assert "says program N-1.nc" in facts()
    assert run_detail(run_id=run).programs == ("N-1.nc",)
