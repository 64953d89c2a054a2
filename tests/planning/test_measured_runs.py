"""How a run's time divides: worked examples of common practice, no source."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planning.reports import run_detail, table_shares, today
from planning.services.run_figures import run_figures
from shopfloor.models import ArcAssignment, PartResult, Reason, RunDay, RunVariance
from tests.planning import cast
from tests.planning.said import open_figure

pytestmark = pytest.mark.django_db


def _variance(run):
    run_figures(key=str(run.pk), payload={})
    return RunVariance.objects.get(run=run)


def test_a_bare_contact_shows_piercing_with_cutting_and_knows_no_misfires(north, operator):
    """1,200 arcs of 2 s, 3 s apart, from a contact that tells of no pierces."""
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 2)] * 1200)
    run = cast.run(revision, north, seconds=3600, plan=cast.plan([2] * 1200))
    cast.arcs(run, [(3 * n + 0.5, 3 * n + 2.5, n + 1) for n in range(1200)])
    found = _variance(run)
    assert (found.arcs, found.pierces, found.misfires) == (1200, None, None)
    assert found.spent["cutting with piercing"] == pytest.approx(2400)
    assert not {"cutting", "piercing"} & (set(found.spent) | set(found.terms))
    assert run_detail(run_id=str(run.pk)).misfires is None


def test_pierce_lines_tell_piercing_from_cutting_and_show_misfires(north, operator):
    """Two contours of 10 s, pierced after 0.75 s; between them 1 s in vain, without a pierce."""
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 10)] * 2)
    run = cast.run(revision, north, seconds=40, plan=cast.plan([10, 10]))
    cast.arcs(run, [(1, 11, 1), (14, 24, 2)], pierced=0.75)
    [vain] = cast.arcs(run, [(12, 13, None)], pierced=0.75)
    vain.first_pierce_us, vain.pierces = None, 0
    vain.save()
    ArcAssignment.objects.filter(arc_key=vain.key).update(repeat=True)
    found = _variance(run)
    assert found.misfires == 1
    assert found.spent["piercing"] == pytest.approx(1.5)
    assert found.spent["cutting"] == pytest.approx(18.5)
    assert found.spent["repeats"] == pytest.approx(1.0)
    # planned 0.5 s of pierce each: 0.25 s over on each of two
    assert found.terms["piercing"] == pytest.approx(0.5)
    assert sum(found.terms.values()) == pytest.approx(found.elapsed_s - found.planned_s, abs=1e-9)


@pytest.fixture
def power_cut(north, operator):
    """40 contours of 30 s, a second apart; the power fails 12 s into 17 and is out 47 min; the
    next shift burns 17 to 40.

    16 x 30 + 12 = 492; 24 x 30 = 720; together 1,212 for a plan of 1,200: 12 in excess, 41 starts.
    """
    _, [line] = cast.job(quantity=40)
    revision = cast.nest(operator, [(line, 1e4, 30)] * 40)
    out = 31 * 16 + 12  # seconds from the start until the power fails
    back = out + 47 * 60
    run = cast.run(revision, north, seconds=out, plan=cast.plan([30] * 40))
    first = run.segments.get()
    first.end_reason, first.last_contour = "power", 17
    first.save()
    second = cast.segment(run, cast.at(cast.NOON, back), 31 * 24, first_contour=17, last_contour=40)
    cast.arcs(run, [(31 * n, 31 * n + 30, n + 1) for n in range(16)] + [(31 * 16, out, 17)])
    cast.arcs(
        run,
        [(back + 31 * n + 1, back + 31 * n + 31, n + 17) for n in range(24)],
        segment=second,
    )
    reason = Reason.objects.create(code="power", label="power cut")
    cast.stoppage(run, cast.at(cast.NOON, out), 47 * 60, reason=reason)
    PartResult.objects.create(
        run=run, line=line, outcome="scrap", quantity=1, cause="power", by=operator, at=cast.NOON
    )
    return run


def test_a_run_through_a_power_cut_is_one_run_with_its_excess(power_cut):
    found = _variance(power_cut)
    assert found.arcs == 41
    assert found.arc_s == pytest.approx(492 + 720)
    assert found.spent["repeats"] == pytest.approx(12)
    assert found.terms["repeats"] == pytest.approx(12)
    assert found.terms["cutting with piercing"] == pytest.approx(0)
    assert found.spent["stoppages"] == pytest.approx(47 * 60)
    assert sum(found.terms.values()) == pytest.approx(found.elapsed_s - found.planned_s, abs=1e-9)
    detail = run_detail(run_id=str(power_cut.pk))
    assert len(detail.segments) == 2
    again = detail.contours[detail.contours["state"] == "cut again"]
    assert again["number"].tolist() == [17]


def test_a_term_opens_down_to_its_arcs(power_cut):
    run_figures(key=str(power_cut.pk), payload={})
    opened = open_figure(kind="run_term", id=f"{power_cut.pk}:cutting with piercing")
    assert len([row for row in opened.rows if row.kind == "arc"]) == 40  # contour 17 once
    again = open_figure(kind="run_term", id=f"{power_cut.pk}:repeats")
    assert [row.value for row in again.rows] == ["12.0 s", "12.0 s", "0.0 s"]  # arc, total, plan
    arc = open_figure(kind="arc", id=opened.rows[0].id)
    assert arc.value == "30.0 s"
    with pytest.raises(LookupError):
        open_figure(kind="arc", id="nothing")


def test_two_torches_at_once_burn_one_table(north, operator):
    """Torch 1 from 10:00 to 10:05, torch 2 from 10:02 to 10:04: 300 s of table, 420 s of torch."""
    from shopfloor.models import Torch

    Torch.objects.create(table=north, code="2")
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 300), (line, 1e4, 120)])
    run = cast.run(revision, north, seconds=300)
    cast.arcs(run, [(0, 300, 1)])
    cast.arcs(run, [(120, 240, 2)], torch="2")
    found = _variance(run)
    assert found.spent["cutting with piercing"] == pytest.approx(300)
    assert found.arc_s == pytest.approx(420)
    assert RunDay.objects.get(run=run).arc_s == pytest.approx(420)
    end = cast.at(cast.NOON, 300)
    shares = table_shares(table_id=north.pk, start=cast.NOON, end=end, now=end)
    assert (shares.burning_s, shares.torch_s) == (300, 420)


def test_a_dead_feeds_time_is_unknown_and_never_waiting(north, operator):
    """480 min: burning 190, stopped 60, unknown 28, so waiting 202. Burning is 190 / 452 of what
    is known (42.0 %), and 190 / 480 (39.6 %) to 218 / 480 (45.4 %) of all of it."""
    from telemetry.models import Gap, Health

    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 60)] * 190)
    start = cast.NOON - timedelta(hours=6)  # 06:00 in Chicago, when the early shift begins
    end = start + timedelta(hours=8)
    run = cast.run(revision, north, start=start, seconds=480 * 60)
    cast.arcs(run, [(90 * n, 90 * n + 60, n + 1) for n in range(190)], start=start)
    cast.stoppage(run, cast.at(start, 300 * 60), 60 * 60)
    feed = cast.feed(north, "north-feed")
    back_us = cast.to_us(cast.at(start, 400 * 60))
    Gap.objects.create(
        feed=feed, key="a", kind="link", at_us=back_us, message="the link was down for 1680.0 s"
    )
    end_us = cast.to_us(end)
    Health.objects.create(feed=feed, link="open", since_us=0, beat_us=end_us, last_byte_us=end_us)
    shares = table_shares(table_id=north.pk, start=start, end=end, now=end)
    minutes = [
        shares.burning_s / 60,
        shares.stopped_s / 60,
        shares.waiting_s / 60,
        shares.unknown_s / 60,
    ]
    assert minutes == pytest.approx([190, 60, 202, 28])
    assert shares.burning_share == pytest.approx(0.42035, abs=5e-5)
    assert (shares.burning_low, shares.burning_high) == pytest.approx((0.39583, 0.45417), abs=5e-5)
    found = _variance(run)
    assert found.spent["unknown"] == pytest.approx(28 * 60)
    assert found.coverage == pytest.approx(452 / 480)
    [row] = today(now=end - timedelta(seconds=1)).tables
    assert row.shares.unknown_s == pytest.approx(28 * 60)


def test_a_run_typed_in_is_measured_nowhere(north, operator):
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 30)] * 10)
    run = cast.run(revision, north, seconds=900, evidence="entered", plan=cast.plan([30] * 10))
    cast.stoppage(run, cast.at(cast.NOON, 100), 200)
    found = _variance(run)
    assert found.spent == {"cutting, travel and waiting": 700, "stoppages": 200}
    assert (found.arcs, found.arc_s, found.misfires, found.coverage) == (None, None, None, 0.0)
    assert sum(found.terms.values()) == pytest.approx(found.elapsed_s - found.planned_s)


def test_a_night_run_through_the_repeated_hour_belongs_to_its_start_date(north, operator, utc):
    """22:00 on 31 October to 06:00: clocks go back. From 01:50 CDT (06:50Z) to 01:10 CST (07:10Z)
    is 20 min, and all of it October's."""
    from datetime import date

    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 60)])
    start = utc(2026, 11, 1, 6, 50)
    run = cast.run(revision, north, start=start, seconds=1200)
    cast.arcs(run, [(30, 90, 1), (1000, 1060, 1)], start=start)
    found = _variance(run)
    assert found.elapsed_s == 1200
    assert [day.shift_date for day in RunDay.objects.filter(run=run)] == [date(2026, 10, 31)]
