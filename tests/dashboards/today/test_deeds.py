from __future__ import annotations

import pytest
import time_machine

from shopfloor.models import ArcAssignment, Change, QueueItem, Run, Stoppage
from tests.markup import worded
from tests.planning import cast

pytestmark = pytest.mark.django_db


def _given(keys):
    rows = ArcAssignment.objects.filter(arc_key__in=keys).exclude(by=None)
    return {row.arc_key: row.segment.run_id if row.segment else None for row in rows}


def test_loose_arcs_are_shown_with_what_they_could_have_been(loose, as_):
    body = as_("supervisor").get("/today/arcs/", {"first": loose[0]}).content.decode()
    assert "4 arcs without a job" in body
    assert "They belong to no job" in body


@time_machine.travel(cast.NOON, tick=False)  # next year its dates show their year
def test_every_run_near_them_on_that_table_can_be_chosen(loose, a_run, south, planner, as_):
    revision = cast.nest(planner, [(None, 1e5, 20)], name="N-9")
    other = cast.run(revision, south, plan=cast.plan([20]))
    body = as_("supervisor").get("/today/arcs/", {"first": loose[0]}).content.decode()
    assert f'name="run_id" value="{a_run.pk}"' in body
    assert str(other.pk) not in body
    assert "North, Tue 6 Oct 13:01 to 13:03" in worded(body)  # 3700 s after noon


def test_arcs_given_to_a_run_are_on_record_with_who_said_so(loose, a_run, as_, supervisor, at_noon):
    client = as_("supervisor")
    form = {"first_key": loose[0], "run_id": str(a_run.pk), "arcs": "4"}
    answer = client.post("/today/arcs/give/", form, follow=True)
    assert _given(loose) == dict.fromkeys(loose, a_run.pk)
    assert set(ArcAssignment.objects.filter(arc_key__in=loose).values_list("by", flat=True)) == {
        supervisor.pk
    }
    assert "4 arcs given to N-1." in answer.content.decode()
    trail = Change.objects.filter(table=ArcAssignment._meta.db_table, who="user:dana")
    assert trail.filter(why="given from the day's page", operation="insert").count() == 4


def test_it_can_be_taken_back(loose, a_run, as_, at_noon):
    client = as_("supervisor")
    form = {"first_key": loose[0], "run_id": str(a_run.pk), "arcs": "4"}
    client.post("/today/arcs/give/", form)
    answer = client.post("/today/arcs/back/", follow=True)
    assert _given(loose) == {}
    body = answer.content.decode()
    assert "Taken back: 4 arcs loose again." in body
    assert "Take it back" not in body


def test_not_after_ten_minutes(loose, a_run, as_, at_noon, monkeypatch):
    client = as_("supervisor")
    client.post("/today/arcs/give/", {"first_key": loose[0], "run_id": str(a_run.pk), "arcs": "4"})
    monkeypatch.setattr("dashboards.data.now", lambda: cast.at(at_noon, 601))
    body = client.post("/today/arcs/back/", follow=True).content.decode()
    assert "That is too long ago to take back here." in body
    assert len(_given(loose)) == 4


def test_only_as_many_as_were_seen_are_given(loose, a_run, as_, at_noon):
    form = {"first_key": loose[0], "run_id": str(a_run.pk), "arcs": "3"}
    as_("supervisor").post("/today/arcs/give/", form)
    assert set(_given(loose)) == set(loose[:3])


def test_arcs_of_no_job_are_set_aside(loose, as_, at_noon):
    answer = as_("supervisor").post(
        "/today/arcs/give/", {"first_key": loose[0], "arcs": "4"}, follow=True
    )
    assert _given(loose) == dict.fromkeys(loose)
    assert "4 arcs marked as no job." in answer.content.decode()


def test_a_start_nobody_pressed_is_made_good_and_can_be_taken_back(
    loose, a_run, north, planner, as_, at_noon
):
    revision = cast.nest(planner, [(None, 1e5, 20)] * 4, name="N-2")
    item = QueueItem.objects.create(nest=revision.nest, table=north, position=1)
    client = as_("supervisor")
    page = client.get("/today/arcs/", {"first": loose[0]}).content.decode()
    assert "Open a run for them" in page
    client.post(
        "/today/arcs/give/",
        {"first_key": loose[0], "revision_id": str(revision.pk), "arcs": "4"},
    )
    run = Run.objects.get(revision=revision)
    assert run.opened_at == cast.at(cast.NOON, 3700)
    assert _given(loose) == dict.fromkeys(loose, run.pk)
    client.post("/today/arcs/back/")
    run.refresh_from_db()
    item.refresh_from_db()
    assert (run.state, item.state) == ("voided", "waiting")
    assert _given(loose) == {}


def test_a_run_of_another_table_is_refused(loose, a_run, south, planner, as_, at_noon):
    revision = cast.nest(planner, [(None, 1e5, 20)], name="N-3")
    other = cast.run(revision, south, plan=cast.plan([20]))
    form = {"first_key": loose[0], "run_id": str(other.pk), "arcs": "4"}
    body = as_("supervisor").post("/today/arcs/give/", form, follow=True).content.decode()
    assert "That run was on South." in body
    assert _given(loose) == {}


@pytest.mark.parametrize("said", ["N-1", "9" * 6000, "٣"])
def test_a_nest_that_is_none_sets_nothing_aside(loose, as_, at_noon, said):
    form = {"first_key": loose[0], "revision_id": said, "arcs": "4"}
    body = as_("supervisor").post("/today/arcs/give/", form, follow=True).content.decode()
    assert "There is no nest" in body
    assert _given(loose) == {}


def test_a_count_too_long_for_a_number_is_all_that_was_there(loose, a_run, as_, at_noon):
    form = {"first_key": loose[0], "run_id": str(a_run.pk), "arcs": "9" * 6000}
    as_("supervisor").post("/today/arcs/give/", form)
    assert _given(loose) == dict.fromkeys(loose, a_run.pk)


@pytest.mark.parametrize("run_id", ["nonsense", "00000000-0000-0000-0000-000000000009"])
def test_a_run_there_is_not_is_refused(loose, as_, at_noon, run_id):
    form = {"first_key": loose[0], "run_id": run_id, "arcs": "4"}
    body = as_("supervisor").post("/today/arcs/give/", form, follow=True).content.decode()
    assert "There is no such run." in body
    assert _given(loose) == {}


def test_arcs_that_somebody_else_gave_first_are_left_alone(loose, a_run, as_, at_noon):
    client = as_("supervisor")
    form = {"first_key": loose[0], "run_id": str(a_run.pk), "arcs": "4"}
    client.post("/today/arcs/give/", form)
    body = (
        as_("planner")
        .post("/today/arcs/give/", {"first_key": loose[0], "arcs": "4"}, follow=True)
        .content.decode()
    )
    assert "It has been said already" in body
    assert _given(loose) == dict.fromkeys(loose, a_run.pk)


def test_arcs_there_are_not_are_not_found(shop, as_):
    answer = as_("supervisor").get("/today/arcs/", {"first": "nothing"})
    assert answer.status_code == 404
    assert "There is no such arc." in answer.content.decode()


def test_a_stop_is_given_its_reason(a_run, as_, supervisor):
    from shopfloor.models import Reason

    Reason.objects.create(code="crane", label="crane busy")
    stop = cast.stoppage(a_run, cast.at(cast.NOON, 720), 60, evidence="measured")
    client = as_("supervisor")
    assert "crane busy" in client.get(f"/today/reason/{stop.pk}/").content.decode()
    client.post(f"/today/reason/{stop.pk}/", {"reason": "crane", "note": "both hooks in use"})
    stop = Stoppage.objects.get(pk=stop.pk)
    assert (stop.reason.code, stop.note, stop.by) == ("crane", "both hooks in use", supervisor)


def test_a_reason_that_is_not_on_the_list_is_refused(a_run, as_):
    stop = cast.stoppage(a_run, cast.at(cast.NOON, 720), 60, evidence="measured")
    body = (
        as_("supervisor")
        .post(f"/today/reason/{stop.pk}/", {"reason": "lunch"}, follow=True)
        .content.decode()
    )
    assert "There is no reason" in body
    assert Stoppage.objects.get(pk=stop.pk).reason is None


@pytest.fixture
def two_runs(a_run):
    """Six loose arcs of 20 s: three, five minutes of nothing, three."""
    spans = [(3700 + 30 * n, 3720 + 30 * n, None) for n in range(3)]
    spans += [(4080 + 30 * n, 4100 + 30 * n, None) for n in range(3)]
    keys = [arc.key for arc in cast.arcs(a_run, spans)]
    ArcAssignment.objects.filter(arc_key__in=keys).delete()
    return keys


def test_a_stretch_can_be_split_at_its_pause(two_runs, a_run, as_, at_noon):
    """3720 + 60 = 3780 is the last off before, 4080 the first on after: 300 s."""
    client = as_("supervisor")
    page = client.get("/today/arcs/", {"first": two_runs[0]})
    [pause] = page.context["pauses"]
    assert (pause.seconds, pause.before, pause.after) == (300.0, 3, 3)
    assert pause.first_key == two_runs[3]
    body = page.content.decode()
    assert "&amp;arcs=3" in body
    before = client.get("/today/arcs/", {"first": two_runs[0], "arcs": "3"}).content.decode()
    assert "3 arcs without a job" in before
    assert "Show the whole stretch" in before
    client.post(
        "/today/arcs/give/", {"first_key": two_runs[0], "arcs": "3", "run_id": str(a_run.pk)}
    )
    client.post("/today/arcs/give/", {"first_key": two_runs[3], "arcs": "3"})
    given = _given(two_runs)
    assert given == dict.fromkeys(two_runs[:3], a_run.pk) | dict.fromkeys(two_runs[3:])


def test_the_second_part_can_be_given_first(two_runs, a_run, north, planner, as_, at_noon):
    """A run is opened where the part begins, not where the stretch does."""
    revision = cast.nest(planner, [(None, 1e5, 20)] * 3, name="N-2")
    QueueItem.objects.create(nest=revision.nest, table=north, position=1)
    client = as_("supervisor")
    body = client.get("/today/arcs/", {"first": two_runs[3], "arcs": "3"}).content.decode()
    assert f'name="first_key" value="{two_runs[3]}"' in body.replace("&#x27;", "'")
    form = {"first_key": two_runs[3], "revision_id": str(revision.pk), "arcs": "3"}
    client.post("/today/arcs/give/", form)
    run = Run.objects.get(revision=revision)
    assert run.opened_at == cast.at(a_run.opened_at, 4080)
    assert set(_given(two_runs)) == set(two_runs[3:])


def test_a_split_is_taken_back_as_a_whole_is(two_runs, a_run, as_, at_noon):
    client = as_("supervisor")
    form = {"first_key": two_runs[3], "run_id": str(a_run.pk), "arcs": "3"}
    client.post("/today/arcs/give/", form)
    client.post("/today/arcs/back/")
    assert _given(two_runs) == {}
    page = client.get("/today/arcs/", {"first": two_runs[0]}).content.decode()
    assert "6 arcs without a job" in page


def test_a_run_nobody_closed_ends_at_its_last_arc_and_says_assumed(
    two_runs, a_run, north, planner, as_, at_noon
):
    """The shop's gap is 15 min: an hour later it has ended with its last arc, at 4160 s."""
    from shopfloor.runs.assigning import arcs_matched

    revision = cast.nest(planner, [(None, 1e5, 20)] * 3, name="N-2")
    form = {"first_key": two_runs[3], "revision_id": str(revision.pk), "arcs": "3"}
    as_("supervisor").post("/today/arcs/give/", form)
    run = Run.objects.get(revision=revision)
    later = cast.at(a_run.opened_at, 4160 + 3600)
    arcs_matched(table=north, start=run.opened_at, end=later, now=later)
    segment = run.segments.get()
    assert (segment.ended_at, segment.end_assumed) == (cast.at(a_run.opened_at, 4160), True)
    assert "assumed" in as_("owner").get(f"/runs/{run.pk}/").content.decode()
