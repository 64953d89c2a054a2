"""Stories of a shop played in from the first line on the wire, or the first touch, to the page
somebody opens. Figures are worked by hand in each test; how a shop behaves is common practice, no
source."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.urls import reverse

from planning.reports import table_shares
from planning.services.work import run_all_waiting
from shopfloor.audit.history import history_of
from shopfloor.models import ArcAssignment, Posting, Run, RunVariance, Shift, Torch
from shopfloor.runs.arcs import to_us
from shopfloor.runs.part_counts import line_counts
from shopfloor.runs.unassigned import unassigned_clusters
from shopfloor.stock.sheets import certificate_keep
from telemetry.models import Arc, Feed
from telemetry.worker.rebuild import rebuild
from tests.planning import cast
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0
from tests.shopfloor.runs.test_sources import LOG, Source, burns


def drained():
    while run_all_waiting():
        pass


def test_a_power_cut_from_the_wire_to_the_runs_figures(floor, client, supervisor):
    """40 contours of 30 s; 12 s into the 17th everything goes dark, its off line too. 47 min later
    the next shift burns 17 to 40. Burnt 16 x 30 + 12 + 24 x 30 = 1,212 s in 41 starts, 12 s of it
    a second time; the plan is 1,200 s of cutting."""
    floor.reason("power")
    line = floor.line(quantity=40)
    revision = floor.nest(contours=40, lines=[line])
    source = Source("log", LOG.replace("[order]", "") + 'sample_a = ["AMPS"]\n')
    run = floor.done("start", T0, queue_item=floor.queue(revision).pk)["run"]
    source.hear(burns(T0 + 10 * SECOND, [30.0] * 16, gap_s=5.0))
    lit = T0 + 10 * SECOND + 16 * 35 * SECOND
    dark = lit + 12 * SECOND
    source.hear([(lit, "ON,"), (lit + 6 * SECOND, "AMPS,105"), (dark, "AMPS,105")])
    floor.follow()
    again = dark + 47 * MINUTE
    floor.done("restart_at", again, contour=17, reason="power", person=supervisor)
    source.hear(burns(again + 10 * SECOND, [30.0] * 24, gap_s=5.0))
    floor.follow()
    end = again + 10 * SECOND + 24 * 35 * SECOND
    scrap = {"contour": 17, "outcome": "scrap", "cause": "kerf step"}
    floor.done("finish", end, exceptions=[scrap], person=supervisor)
    drained()
    assert Run.objects.count() == 1
    assert [one.end_reason for one in Run.objects.get().segments.all()] == ["power", "finish"]
    found = RunVariance.objects.get(run=run)
    assert (found.arcs, found.arc_s) == (41, 1212.0)
    assert found.terms["repeats"] == pytest.approx(12.0)
    assert found.terms["stoppages"] == pytest.approx(47 * 60)
    assert sum(found.terms.values()) == pytest.approx(found.elapsed_s - found.planned_s)
    assert line_counts([line.pk])[line.pk].shortage == 1
    client.force_login(supervisor)
    page = client.get(f"/runs/{run}/").content.decode()
    assert "kerf step" in page
    assert "power" in page


def test_two_jobs_on_one_sheet_from_the_touch_to_the_cent(floor):
    """$600 sheet; 40 % of it is left, at the factor 0.5 that is $120. Net areas 2:1, arcs 60:40,
    80 min at $96 an hour: material 320 and 160, machine 76.80 and 51.20."""
    cast.rate("machine", 9_600)
    ours, theirs = floor.line("J-1", 1), floor.line("J-2", 1, part="plate")
    revision = floor.nest(contours=2, seconds=[1800.0, 1200.0], lines=[ours, theirs])
    revision.contours.filter(number=1).update(net_area_mm2=2e6)
    revision.contours.filter(number=2).update(net_area_mm2=1e6)
    sheet = floor.sheet("S-1", cost_minor=60_000)
    floor.done("start", T0, queue_item=floor.queue(revision, sheet).pk, sheet="S-1")
    source = Source("log", LOG)
    source.hear(burns(T0 + 10 * MINUTE, [1800.0, 1200.0], gap_s=300.0))
    floor.follow()
    floor.done("finish", T0 + 80 * MINUTE, exceptions=[],
               remnant={"length_mm": 1800, "width_mm": 1000})  # fmt: skip
    drained()

    def minor(line, *kinds):
        rows = Posting.objects.filter(line=line, kind__in=kinds)
        return sum(rows.values_list("amount_minor", flat=True))

    assert sheet.remnants.get().cost_minor == 12_000
    assert [minor(one, "material", "credit") for one in (ours, theirs)] == [32_000, 16_000]
    assert [minor(one, "machine") for one in (ours, theirs)] == [7_680, 5_120]


def test_two_torches_on_one_wire_burn_one_table_and_lose_nothing(floor, north):
    """10:00 to 10:05 and 10:02 to 10:04 on two torches of one source: the table burns 300 s, the
    torches 420 s; the second on line does not end the first arc."""
    Torch.objects.create(table=north, code="2")
    text = LOG.replace('"signal"', '"torch", "signal"')
    source = Source("both", text)
    source.hear(
        [
            (T0, "1,ON,"),
            (T0 + 2 * MINUTE, "2,ON,"),
            (T0 + 4 * MINUTE, "2,OFF,"),
            (T0 + 5 * MINUTE, "1,OFF,"),
        ]
    )
    end = T0 + 10 * MINUTE
    shares = table_shares(table_id=north.pk, start=T0, end=end, now=end)
    assert (shares.burning_s, shares.torch_s) == (300, 420)
    assert sorted(Arc.objects.values_list("torch", "ended")) == [("1", "off"), ("2", "off")]


def test_like_nests_wait_for_a_word_that_a_real_rebuild_keeps(floor, client, supervisor):
    """34 arcs, no start pressed, two nests with the same 34 contours for different jobs."""
    made = [
        floor.nest(f"N-{name}", contours=34, seconds=20.0, lines=[floor.line(f"J-{name}", 34)])
        for name in "AB"
    ]
    for one in made:
        floor.queue(one)
    source = Source("log", LOG)
    source.hear(burns(T0, [20.0] * 34, gap_s=6.0))
    floor.follow()
    assert not ArcAssignment.objects.exists()
    (found,) = unassigned_clusters(floor.table, T0, T0 + timedelta(hours=1))
    assert {one.nest for one in found.suggestions} == {"N-A", "N-B"}

    client.force_login(supervisor)
    first = found.keys[0]
    page = client.get("/today/arcs/", {"first": first, "arcs": 34})
    text = page.content.decode()
    assert "N-A" in text
    assert "N-B" in text
    client.post(reverse("assign_arcs"), {"first_key": first, "arcs": 34, "revision_id": made[1].pk})
    run = Run.objects.get()
    assert run.revision == made[1]
    held = list(
        ArcAssignment.objects.order_by("arc_key").values_list("arc_key", "contour_number", "by")
    )
    assert len(held) == 34
    assert {by for _, _, by in held} == {supervisor.pk}
    rebuild(Feed.objects.get(pk=source.feed.pk))
    floor.follow()
    again = ArcAssignment.objects.order_by("arc_key")
    assert list(again.values_list("arc_key", "contour_number", "by")) == held
    (past, *_) = history_of(ArcAssignment, again.first().pk)
    assert past.who == "user:dana"


def test_after_fourteen_months_sixty_parts_lead_to_two_certificates_and_back(
    floor, client, operator
):
    """The sheet planned for the second nest was swapped for a remnant of heat Y: 40 parts of X, 20
    of Y. From the job to a heat to its certificate are two clicks; Y leads back to the job."""
    then = T0 - timedelta(days=426)
    x, y = floor.heat("X-11"), floor.heat("Y-22")
    papers = {x: b"%PDF-1.4 mill paper of X-11", y: b"%PDF-1.4 mill paper of Y-22"}
    for heat, raw in papers.items():
        certificate_keep(heat=heat, raw=raw)
    first, other = floor.sheet("S-X", heat=x), floor.sheet("S-Y", heat=y)
    floor.sheet("S-X2", heat=x)
    line = floor.line("J-60", 60)
    made_y = floor.nest("N-other", contours=1, lines=[floor.line("J-other", 1)])
    floor.done("start", then, queue_item=floor.queue(made_y, other).pk, sheet="S-Y")
    floor.done("finish", then + 20 * MINUTE, exceptions=[],
               remnant={"length_mm": 1500, "width_mm": 1500})  # fmt: skip
    forty = floor.nest("N-40", contours=40, lines=[line])
    floor.done("start", then + 30 * MINUTE, queue_item=floor.queue(forty, first).pk, sheet="S-X")
    floor.done("finish", then + 60 * MINUTE, exceptions=[])
    twenty = floor.nest("N-20", contours=20, lines=[line])
    planned = floor.queue(twenty)
    planned.sheet_id = first.__class__.objects.get(code="S-X2").pk
    planned.save()
    floor.done("start", then + 70 * MINUTE, queue_item=planned.pk, sheet="S-Y-R1",
               swap_reason="remnant used first")  # fmt: skip
    floor.done("finish", then + 90 * MINUTE, exceptions=[])

    client.force_login(operator)
    job = client.get(reverse("job", args=[line.job_id]))
    assert set(job.context["heats"]) == {("X-11", x.pk, 40), ("Y-22", y.pk, 20)}
    for heat, raw in papers.items():
        assert f'href="{reverse("heat", args=[heat.pk])}"' in job.content.decode()
        page = client.get(reverse("heat", args=[heat.pk])).content.decode()
        paper = reverse("certificate", args=[heat.pk])
        assert f'href="{paper}"' in page
        assert client.get(paper).content == raw
    back = client.get(reverse("heat", args=[y.pk])).context["jobs"]
    assert (line.job_id, "J-60", 20, 0) in back
    assert "J-60" not in {n for _, n, good, _ in back if good != 20}


def test_a_night_with_the_repeated_hour_sums_to_540_and_is_october_s(floor, north, operator):
    """Chicago, 22:00 on 31 October to 06:00 on 1 November 2026 is 9 h. A run from 01:50 CDT
    (06:50 UTC) to 01:10 CST (07:10 UTC) lasts 20 min and costs 20/60 of $90 in October."""
    Shift.objects.all().delete()
    Shift.objects.create(
        name="night", start=time(22), end=time(6), weekdays="1234567", valid_from=date(2026, 1, 1)
    )
    cast.rate("machine", 9_000)
    begin, end = datetime(2026, 11, 1, 3, tzinfo=UTC), datetime(2026, 11, 1, 12, tzinfo=UTC)
    start = datetime(2026, 11, 1, 6, 50, tzinfo=UTC)
    source = Source("log", LOG)
    source.hear([(begin, "PROGRAM,x")])
    revision = floor.nest(contours=2, seconds=[500.0, 600.0], lines=[floor.line()])
    run = floor.done("start", start, queue_item=floor.queue(revision).pk)["run"]
    source.hear(burns(start + SECOND, [500.0, 600.0], gap_s=30.0))
    floor.follow()
    floor.done("finish", start + 20 * MINUTE, exceptions=[])
    source.hear([(end, "PROGRAM,x")])
    drained()
    shares = table_shares(table_id=north.pk, start=begin, end=end, now=end)
    parts = (shares.burning_s, shares.stopped_s, shares.waiting_s, shares.unknown_s)
    assert sum(parts) == 540 * 60
    assert shares.burning_s == 1100
    assert RunVariance.objects.get(run=run).elapsed_s == 20 * 60
    rows = Posting.objects.filter(run=run, kind="machine")
    assert {(row.shift_date, row.month.first_day) for row in rows} == {
        (date(2026, 10, 31), date(2026, 10, 1))
    }
    assert sum(row.amount_minor for row in rows) == 3_000
    assert to_us(end) - to_us(begin) == 540 * 60 * 1_000_000
