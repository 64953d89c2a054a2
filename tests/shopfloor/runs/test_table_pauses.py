"""A table's pauses proposed from its own runs, and accepted on its page; figures by hand."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from shopfloor.models import ArcAssignment, NestPlan, Run, Segment
from shopfloor.runs.arcs import to_us
from shopfloor.runs.seen_times import table_runs
from shopfloor.runs.table_pauses import pause_proposal, pauses_accept
from shopfloor.site.table_history import table_history
from telemetry.models import Arc
from tests.shopfloor.floor_shop import T0

PLANNED = (2.0, 3.0, 5.0, 8.0, 13.0, 21.0)
TRAVEL_S, SETTLE_S, PAUSE_S = 1.0, 0.6, 5.0


@pytest.fixture
def burnt(floor):
    """Sixteen runs of six contours, planned without settling and with 4 s of touch-off, burnt with
    .6 s and 5 s; every other one cuts 2 % slower than its chart."""
    revision = floor.nest(contours=len(PLANNED))
    plan = {
        "arcs_s": list(PLANNED), "touch_off_s": 4.0 * len(PLANNED),
        "snapshot": {"contours": {"travel_s": [TRAVEL_S] * len(PLANNED)}, "motion": {}},
    }  # fmt: skip
    NestPlan.objects.update(
        arcs_s=list(PLANNED), touch_off_s=24.0, pierces=6, load_s=600.0, total_s=82.0
    )
    torch = floor.table.torches.first()
    assignments, arcs = [], []
    for number in range(16):
        at = T0 + timedelta(hours=number)
        run = Run.objects.create(
            revision=revision, table=floor.table, state="finished", opened_at=at, plan=plan
        )
        segment = Segment.objects.create(
            run=run, torch=torch, wear_set=floor.fast, started_at=at
        )  # fmt: skip
        us = to_us(at)
        for contour, planned_s in enumerate(PLANNED, start=1):
            key = f"src|{number}|{contour}"
            off_us = us + round((SETTLE_S + planned_s * (1 + 0.02 * (number % 2))) * 1e6)
            assignments.append(
                ArcAssignment(arc_key=key, segment=segment, contour_number=contour, at=at)
            )
            arcs.append(
                Arc(key=key, feed_id=1, table=floor.table.code, torch="1", on_us=us, ended="off",
                    off_us=off_us, changed_us=us, feed_version=1)
            )  # fmt: skip
            us = off_us + round((TRAVEL_S + PAUSE_S) * 1e6)
    ArcAssignment.objects.bulk_create(assignments)
    Arc.objects.bulk_create(arcs)
    floor.queue(revision)
    floor.queue(revision)
    return floor


def test_pauses_are_proposed_with_what_they_do_to_the_list(burnt):
    found = pause_proposal(burnt.table, table_runs(burnt.table))
    assert found.values == {"settle_s": pytest.approx(0.6), "touch_off_s": pytest.approx(5.0)}
    assert found.learned.better
    # Ten runs teach, six newer ones are tried: of 52 s burnt and 5 gaps as planned (25 s) half
    # took 55.6 + 30 and half 56.64 + 30; so 85.6 / 77 and 86.64 / 77, their middle 11.8 % more.
    assert found.learned.replayed.runs == 6
    assert found.learned.replayed.before == pytest.approx(0.1184, abs=0.0005)
    assert found.learned.replayed.after < 0.013
    # Two sheets of 82 s and 600 s of loading; each grows by 6 x .6 s and 6 x 1 s.
    [waiting] = found.waiting
    assert (waiting.sheets, waiting.now_s) == (2, 2 * 682.0)
    assert waiting.then_s == pytest.approx(2 * (682.0 + 3.6 + 6.0))


def test_a_lift_is_a_part_of_the_pause(burnt):
    burnt.table.lift_s = 1.5
    found = pause_proposal(burnt.table, table_runs(burnt.table))
    assert found.values["touch_off_s"] == pytest.approx(3.5)


def test_a_person_accepts_what_was_shown(burnt, sign_in, planner):
    page, address = sign_in(planner), reverse("table_figures", args=[burnt.table.pk])
    assert b"Use them" in page.get(address).content
    accept = reverse("table_pauses", args=[burnt.table.pk])
    page.post(accept, {"settle_s": "0.6", "touch_off_s": "4.9", "why": "read off"})
    page.post(accept, {"settle_s": "0.6", "touch_off_s": "5.0", "why": ""})
    burnt.table.refresh_from_db()
    assert (burnt.table.settle_s, burnt.table.touch_off_s) == (0.0, None)
    page.post(accept, {"settle_s": "0.6", "touch_off_s": "5.0", "why": "as it burns"})
    burnt.table.refresh_from_db()
    assert (burnt.table.settle_s, burnt.table.touch_off_s) == (0.6, 5.0)
    assert table_history(burnt.table)[0].why == "as it burns"
    assert b"Use them" not in page.get(address).content  # nothing else is left to say
    with pytest.raises(ValidationError):
        pauses_accept(table=burnt.table, shown={"settle_s": 0.6}, why="again")


def test_who_may_not_change_the_chart_sees_it_and_takes_nothing(burnt, sign_in, operator):
    page = sign_in(operator)
    text = page.get(reverse("table_figures", args=[burnt.table.pk])).content.decode()
    assert "Its runs show other pauses" in text
    assert "Use them" not in text
    assert page.post(reverse("table_pauses", args=[burnt.table.pk])).status_code == 403


def test_runs_planned_with_settling_say_the_whole_of_it(burnt):
    """After the figures are accepted newer plans hold them; what runs show stays the same."""
    for run in Run.objects.all():
        run.plan["arcs_s"] = [planned + 0.4 for planned in PLANNED]
        run.plan["snapshot"]["motion"] = {"settle_s": 0.4}
        run.save(update_fields=["plan"])
    burnt.table.settle_s = 0.4
    found = pause_proposal(burnt.table, table_runs(burnt.table))
    assert found.values["settle_s"] == pytest.approx(0.6)
