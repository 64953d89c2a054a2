"""Today's figures opened: their rows add up to what the page says."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from planning.reports import balance_days, today
from planning.services.run_figures import run_figures
from shopfloor.models import ArcAssignment, Run, RunDay, WearSet
from telemetry.models import Arc, Feed, Rollup
from tests.planning import cast
from tests.planning.fitted import fitted
from tests.planning.said import open_figure
from tests.planning.test_opened_sums import _adds_up
from tests.planning.test_shift_border import rollups
from tests.planning.test_today import SHIFT, _listening, _queue, half_burnt

__all__ = ["half_burnt"]
pytestmark = pytest.mark.django_db


@pytest.fixture
def morning(half_burnt, north):
    """It is 07:00. Four arcs of 60 s in the run, three of 5 s in none, a stop of 600 s."""
    now = cast.at(SHIFT, 3600)
    _listening(north, now)
    loose = cast.arcs(
        half_burnt, [(2000 + 10 * n, 2005 + 10 * n, None) for n in range(3)], start=SHIFT
    )
    ArcAssignment.objects.filter(arc_key__in=[arc.key for arc in loose]).delete()
    cast.stoppage(half_burnt, cast.at(SHIFT, 2400), 600)
    return now


def opened(kind, now, code="north"):
    return open_figure(kind=kind, id=f"{code}@{cast.to_us(now)}")


def test_a_shift_opens_to_its_runs_stops_and_waits(morning):
    figure = opened("shift", morning)
    said = {row.label: row.value for row in figure.rows}
    nest = today(now=morning).tables[0].current.nest
    assert said[f"burnt by {nest}"] == "4.0 min"
    assert said["burnt in no run yet"] == "15.0 s"
    assert [value for label, value in said.items() if label.startswith("stopped 06:40")] == [
        "10.0 min"
    ]
    # 3,600 s less 240, 15 and 600
    assert said["waiting: all the rest"] == "45.8 min"
    assert said["Time so far"] == "60.0 min"
    assert figure.value == "4.2 min burning, 7 % of 60.0 min"
    assert _adds_up(figure) == 1


def test_the_pace_opens_to_what_each_run_did_of_its_plan(morning):
    """By 06:05:40, the end of the fourth arc, 280 s of plan were done in 340 s."""
    figure = opened("pace", morning)
    said = {row.label: row.value for row in figure.rows}
    assert said["Planned time done"] == "4.7 min"
    assert said["06:00 to 06:05, the last planned arc"] == "5.7 min"
    done, there = (row.amount for row in figure.rows if row.total)
    assert done - there == pytest.approx(-60)
    assert figure.value == "1 min behind plan"
    assert _adds_up(figure) == 2


def test_the_pace_is_unknown_where_nothing_planned_was_seen(north):
    figure = opened("pace", cast.at(SHIFT, 60))
    assert (figure.value, figure.evidence) == ("pace unknown", "unknown")


def test_the_end_opens_to_what_it_was_drawn_from(half_burnt, north, operator):
    """420 s of the run and 580 s of cutting that wait, at 1.2 of their plan with 600 s between
    them: 1,800 s after 06:06."""
    now = cast.at(SHIFT, 360)
    _listening(north, now)
    _queue(north, operator, total_s=580)
    scored = {"said": 60, "held": 49, "low": 42, "high": 54, "voided": 3}
    fitted(north, now, scored=scored, scale=1.1)
    figure = opened("outlook", now)
    amounts = {row.label: row.amount for row in figure.rows}
    assert amounts["rest of N-1, the run on the table"] == pytest.approx(420)
    assert amounts["Planned cutting"] == pytest.approx(1000)
    assert amounts["burning and travel, as this table's runs take them"] == pytest.approx(
        1200, rel=0.05
    )
    assert amounts["loading"] == pytest.approx(300, rel=0.1)
    assert amounts["unloading"] == pytest.approx(240, rel=0.1)
    assert figure.value.startswith("ends 06:3")
    assert "; 80 in 100: between 06:" in figure.value
    said = {row.label: row.value for row in figure.rows}
    assert said["Learnt from"] == "160 runs of this table"
    assert said["Ranges widened by"].startswith("1.10")
    assert said["How such ranges held"] == (
        "of the last 60 ranges 49 held; 80 in 100 promised, 42 to 54 would be chance; "
        "3 more not counted: their list changed"
    )
    assert _adds_up(figure) == 2


def test_an_end_not_fitted_yet_opens_to_the_plan_alone(half_burnt, north, operator):
    now = cast.at(SHIFT, 360)
    _listening(north, now)
    figure = opened("outlook", now)
    assert (figure.value, figure.evidence) == ("end unknown", "unknown")
    assert [row.amount for row in figure.rows] == [pytest.approx(420)]


@pytest.mark.parametrize(
    "key", ["north", "north@soon", "@1", "east@1790000000000000", f"north@{10**30}"]
)
def test_a_table_or_moment_there_is_not_opens_to_nothing(north, key):
    for kind in ("shift", "pace", "outlook"):
        with pytest.raises(LookupError):
            open_figure(kind=kind, id=key)


def test_a_day_opens_to_its_runs_and_loose_arcs(morning, north):
    rollups(Arc.objects.all())
    run_figures(key=str(Run.objects.get().pk), payload={})
    day = f"{SHIFT:%Y-%m-%d}"
    [duty] = set(RunDay.objects.values_list("wear_set__duty", flat=True))  # it goes on for days
    burnt = open_figure(kind="day", id=f"{day}:{duty}")
    assert (burnt.value, burnt.amount) == ("4.0 min", 240)
    assert [row.kind for row in burnt.rows] == ["run", ""]
    frame = balance_days(first=SHIFT.date(), last=SHIFT.date())
    minutes = dict(zip(frame["duty"], frame["burnt_min"], strict=True))
    assert minutes == {duty: 4.0, "unassigned": 0.25}
    loose = open_figure(kind="day", id=f"{day}:unassigned:{north.name}")
    assert (loose.value, [row.kind for row in loose.rows]) == ("15.0 s", ["arc"] * 3 + [""])
    # of a ten-contour plan the four that were burnt
    planned = open_figure(kind="day", id=f"{day}:planned")
    assert planned.amount == pytest.approx(
        RunDay.objects.get(shift_date=SHIFT.date()).planned_arc_s
    )
    assert _adds_up(burnt) == _adds_up(loose) == _adds_up(planned) == 1
    WearSet.objects.update(duty="odd")
    unknown = open_figure(kind="day", id=f"{day}:unknown")
    assert (unknown.amount, unknown.title[:12]) == (burnt.amount, "unknown duty")
    with pytest.raises(LookupError):
        open_figure(kind="day", id=f"{day}:slow")
    with pytest.raises(LookupError):
        open_figure(kind="day", id="yesterday:fine")


def test_burning_that_no_arc_is_listed_for_is_a_row_of_its_own(morning, north):
    """The quarter hours have two minutes that no arc is stored for."""
    run_figures(key=str(Run.objects.get().pk), payload={})
    rollups(Arc.objects.all())
    row = Rollup.objects.first()
    row.burn_us += 120_000_000
    row.save()
    figure = open_figure(kind="day", id=f"{SHIFT:%Y-%m-%d}:unassigned")
    assert figure.amount == pytest.approx(135)
    assert figure.rows[-2].amount == pytest.approx(120)
    assert _adds_up(figure) == 1


def test_the_balance_says_from_when_on_a_source_was_there(morning, north):
    """A source registered later can have read an older log: what it burnt counts too."""
    week = {"first": SHIFT.date() - timedelta(days=9), "last": SHIFT.date()}
    began = cast.to_us(SHIFT + timedelta(days=30))
    Feed.objects.update(created_us=began)
    assert balance_days(**week).attrs["known_from"] == SHIFT.date() + timedelta(days=30)
    rollups(Arc.objects.all())
    assert balance_days(**week).attrs["known_from"] == SHIFT.date()


def test_without_a_source_no_day_is_known(north):
    assert balance_days(first=SHIFT.date(), last=SHIFT.date()).attrs["known_from"] is None


@pytest.mark.parametrize("ahead", [9, 400_000])
def test_a_day_far_ahead_opens_to_nothing(north, ahead):
    with pytest.raises(LookupError):
        open_figure(kind="day", id=f"{timezone.now().date() + timedelta(days=ahead)}:planned")


def test_what_waits_is_part_of_a_days_plan(north, operator):
    """600 s of plan with 580 of arc; it begins today, in whichever shift is next or now."""
    _queue(north, operator, total_s=600)
    today = timezone.now().date()  # the shop's own day may be one earlier
    frame = balance_days(first=today - timedelta(days=1), last=today + timedelta(days=3))
    [row] = [row for row in frame.to_dict("records") if row["planned_min"]]
    figure = open_figure(kind="day", id=f"{row['day']}:planned:North")
    assert figure.amount == pytest.approx(row["planned_min"] * 60) == 580
