from __future__ import annotations

import pytest

from planning.services.notes import notes_sweep
from tests.dashboards.conftest import NOW
from tests.planning import cast

pytestmark = pytest.mark.django_db


def test_the_page_tells_each_table_with_its_strip(a_run, south, as_, at_noon):
    body = as_("supervisor").get("/today/").content.decode()
    assert "Tuesday 6 October" in body
    assert "early shift, 06:00–14:00" in body
    for name in ("North", "South"):
        assert f'aria-label="{name}"' in body
    # three arcs of 600 s by hand: 30 min; 13:06 less 06:00 is 7 h 06 min of known time at most
    assert "arc 30 min" in body
    assert f'href="/runs/{a_run.pk}/"' in body


def test_an_operators_name_is_shown_only_to_those_who_may_see_it(north, operator, as_, at_noon):
    _, [line] = cast.job("J-1")
    revision = cast.nest(operator, [(line, 1e5, 500)])
    run = cast.run(
        revision, north, seconds=None, state="open", operator=operator, plan=cast.plan([500])
    )
    cast.arcs(run, [(3900, 3950, 1)])
    assert "Milo Brandt" in as_("supervisor").get("/today/strips/").content.decode()
    assert "Milo Brandt" not in as_("planner").get("/today/strips/").content.decode()


def test_an_empty_shop_says_what_comes_first(shop, as_, at_noon):
    body = as_("supervisor").get("/today/").content.decode()
    assert "No table is set up yet." in body


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "1969-12-31"])
def test_a_day_far_off_has_no_shift(north, as_, at_noon, day):
    answer = as_("supervisor").get("/today/", {"day": day})
    assert answer.status_code == 404
    assert "There was no shift" in answer.content.decode()


@pytest.mark.parametrize("day", ["2026-13-01", "٣"])
def test_what_is_no_date_is_said(north, as_, at_noon, day):
    answer = as_("supervisor").get("/today/", {"day": day})
    assert answer.status_code == 404
    assert "is not a date" in answer.content.decode()


def test_a_day_that_cannot_be_worked_out_says_what_is_safe(north, as_, at_noon, monkeypatch):
    def broken(at):
        raise RuntimeError("no")

    monkeypatch.setattr("dashboards.data.today", broken)
    answer = as_("supervisor").get("/today/")
    assert answer.status_code == 200
    assert "Lines and records are safe." in answer.content.decode()


def test_one_strip_that_fails_leaves_the_others(north, south, as_, at_noon, monkeypatch):
    from dashboards.today import rows

    draw = rows.strip.strips

    def one(table, *args):
        if table.name == "North":
            raise ValueError("no")
        return draw(table, *args)

    monkeypatch.setattr(rows.strip, "strips", one)
    body = as_("supervisor").get("/today/").content.decode()
    assert "North: This strip could not be drawn." in body
    assert body.count("This strip could not be drawn.") >= 1
    assert "South: " in body


def test_a_shift_that_is_over_is_told_as_it_was(a_run, as_, at_noon):
    later = cast.at(NOW, 24 * 3600)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dashboards.data.now", lambda: later)
        answer = as_("supervisor").get("/today/?day=2026-10-06&shift=early")
    body = answer.content.decode()
    assert "Tuesday 6 October" in body
    assert "North burnt 30 min." in body
    assert "data-live" not in body


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("day=2026-13-45", "is not a date"),
        ("day=2026-10-06&shift=noon", "There was no noon shift on Tuesday 6 October 2026."),
        ("day=2026-10-07", "There was no shift on Wednesday 7 October 2026."),  # not begun yet
    ],
)
def test_a_shift_there_was_not_is_said_to_be_missing(shop, as_, at_noon, query, said):
    answer = as_("supervisor").get(f"/today/?{query}")
    assert answer.status_code == 404
    assert said in answer.content.decode()


def test_the_moving_part_is_not_sent_again_when_nothing_moved(a_run, as_, at_noon):
    client = as_("supervisor")
    first = client.get("/today/strips/")
    assert first.status_code == 200
    again = client.get("/today/strips/", headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_another_arc_moves_it(a_run, as_, at_noon):
    client = as_("supervisor")
    tag = client.get("/today/strips/").headers["ETag"]
    [arc] = cast.arcs(a_run, [(2200, 2300, None)])
    type(arc).objects.filter(pk=arc.pk).update(changed_us=5)
    assert client.get("/today/strips/", headers={"If-None-Match": tag}).status_code == 200


def test_a_changed_record_moves_it(a_run, as_, at_noon):
    client = as_("supervisor")
    tag = client.get("/today/strips/").headers["ETag"]
    cast.stoppage(a_run, cast.at(cast.NOON, 2500), 300)
    assert client.get("/today/strips/", headers={"If-None-Match": tag}).status_code == 200


def test_time_going_by_moves_it(a_run, as_, at_noon, monkeypatch):
    client = as_("supervisor")
    tag = client.get("/today/strips/").headers["ETag"]
    monkeypatch.setattr("dashboards.data.now", lambda: cast.at(NOW, 15))
    assert client.get("/today/strips/", headers={"If-None-Match": tag}).status_code == 200


def test_what_one_person_may_see_is_never_handed_to_another(a_run, as_, at_noon):
    tag = as_("supervisor").get("/today/strips/").headers["ETag"]
    other = as_("planner").get("/today/strips/", headers={"If-None-Match": tag})
    assert other.status_code == 200


def test_a_304_takes_few_queries_and_no_report(
    a_run, as_, at_noon, django_assert_max_num_queries, monkeypatch
):
    client = as_("supervisor")
    tag = client.get("/today/strips/").headers["ETag"]
    monkeypatch.setattr("dashboards.data.today", None)
    with django_assert_max_num_queries(12):
        again = client.get("/today/strips/", headers={"If-None-Match": tag})
    assert again.status_code == 304


def test_more_runs_take_no_more_queries(a_run, operator, as_, at_noon):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = as_("supervisor")
    client.get("/today/strips/")
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get("/today/strips/")
    for n in range(4):
        more = cast.run(
            a_run.revision, a_run.table, start=cast.at(cast.NOON, -4000 * (n + 1)), seconds=600,
            operator=operator, plan=cast.plan([500] * 3),
        )  # fmt: skip
        cast.arcs(more, [(10, 200, 1)], start=cast.at(cast.NOON, -4000 * (n + 1)))
    with CaptureQueriesContext(connection) as many:
        client.get("/today/strips/")
    assert len(many) <= len(few) + 1  # jobs of the first run are one query more than of none
    assert len(few) <= 52


def test_a_line_left_stands_on_the_page(shop, as_, supervisor):
    client = as_("supervisor")
    said = "Bay water table low, <b>topped up</b> 22:10."
    assert client.post("/today/line/", {"text": f"  {said}\n"}).status_code == 302
    body = client.get("/today/").content.decode()
    assert "Bay water table low, &lt;b&gt;topped up&lt;/b&gt; 22:10." in body
    assert "Dana Okell" in body


@pytest.mark.parametrize("text", ["", "   ", "x" * 301])
def test_an_empty_or_endless_line_is_refused(shop, as_, text):
    client = as_("supervisor")
    body = client.post("/today/line/", {"text": text}, follow=True).content.decode()
    assert "The line is" in body
    from shopfloor.models import Action

    assert not Action.objects.exists()


def test_the_page_is_live_now(north, as_):
    body = as_("supervisor").get("/today/").content.decode()
    assert 'data-live="/today/strips/"' in body


@pytest.mark.parametrize(("tables", "tight"), [(5, False), (6, True)])
def test_many_tables_are_drawn_with_low_strips(shop, as_, at_noon, tables, tight):
    from shopfloor.models import Table, Torch

    for n in range(tables):
        table = Table.objects.create(code=f"t{n}", name=f"T{n}", order=n)
        Torch.objects.create(table=table, code="1")
    body = as_("supervisor").get("/today/").content.decode()
    assert ('class="trow tight"' in body) is tight


def test_every_strip_shows_the_same_hours(a_run, south, as_, at_noon):
    from dashboards import data
    from dashboards.today.rows import aligned

    tables = aligned(data.today(at_noon).tables)
    assert len({(table.strip.start_us, table.strip.end_us) for table in tables}) == 1
    for table, drawn in zip(data.today(at_noon).tables, tables, strict=True):
        assert drawn.strip.start_us <= table.strip.start_us
        assert drawn.strip.end_us >= table.strip.end_us


def test_a_late_jobs_note_offers_the_job(a_run, as_, at_noon):
    from shopfloor.models import Job

    Job.objects.update(due_at=cast.at(cast.NOON, -86_400))
    body = as_("supervisor").get("/today/").content.decode()
    assert "late" in body
    assert f'href="/jobs/{Job.objects.get().pk}/"' in body


def _asked(client, address):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client.get(address)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    # What a new shop still lacks is asked on every page, in one statement of its own.
    return [one["sql"] for one in asked.captured_queries if '"there0"' not in one["sql"]]


def test_the_queue_and_its_jobs_are_read_once(a_run, as_, at_noon):
    asked = _asked(as_("supervisor"), "/today/")
    queue = [sql for sql in asked if 'FROM "shopfloor_queueitem"' in sql]
    assert sum('"shopfloor_wearset"' in sql for sql in queue) == 1  # with the sets of its nests
    jobs = [sql for sql in asked if 'FROM "shopfloor_job"' in sql]
    assert sum('"shopfloor_customer"' in sql for sql in jobs) == 1


def test_a_shift_that_is_over_asks_nothing_of_the_queue(a_run, as_, monkeypatch):
    monkeypatch.setattr("dashboards.data.now", lambda: cast.at(NOW, 86_400))
    asked = _asked(as_("supervisor"), "/today/?day=2026-10-06&shift=early")
    assert any('FROM "telemetry_arc"' in sql for sql in asked)
    gone = ("shopfloor_queueitem", "shopfloor_job", "shopfloor_sheet", "shopfloor_pieceoutlook")
    assert [sql for sql in asked if any(f'FROM "{name}"' in sql for name in gone)] == []


def test_each_further_stretch_takes_one_query_more(loose, a_run, as_, at_noon):
    from shopfloor.models import ArcAssignment

    client = as_("supervisor")
    notes_sweep(now=NOW)
    one = len(_asked(client, "/today/"))
    for part in range(3):
        begin = 4500 + 600 * part
        more = cast.arcs(a_run, [(begin + 30 * n, begin + 20 + 30 * n, None) for n in range(4)])
        ArcAssignment.objects.filter(arc_key__in=[arc.key for arc in more]).delete()
    notes_sweep(now=NOW)
    assert b"Arcs without a job" in client.get("/today/").content
    assert len(_asked(client, "/today/")) <= one + 3
