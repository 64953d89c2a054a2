"""The same stories as in test_scenarios, with other numbers and a twist each. Expected figures are
worked by hand; how a shop behaves is common practice, no source."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from planning.services.work import run_all_waiting
from shopfloor.models import ArcAssignment, PartResult, Posting, Run, Table, Torch
from shopfloor.runs.arc_runs import run_from_arcs
from shopfloor.runs.arcs import arcs_by_key, to_us
from shopfloor.runs.part_counts import line_counts
from shopfloor.runs.unassigned import unassigned_clusters
from shopfloor.site.queries import shift_date_of
from tests.planning import cast
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0


def burnt(run, **where):
    keys = ArcAssignment.objects.filter(segment__run=run, **where).values_list("arc_key", flat=True)
    return sum(arc.seconds or 0 for arc in arcs_by_key(list(keys))), len(keys)


@pytest.mark.parametrize(
    ("contours", "each_s", "fails_in", "after_s", "out_min"),
    [(25, 44.0, 9, 31.0, 95), (12, 18.0, 1, 5.0, 11), (30, 20.0, 30, 17.0, 240)],
)
def test_power_fails_in_any_contour(
    floor, supervisor, contours, each_s, fails_in, after_s, out_min
):
    """Before: (k - 1) x each + after; after: (n - k + 1) x each; n + 1 starts; what the failed
    contour burnt is excess. 25 x 44 s failing 31 s into 9: 383 + 748 s."""
    floor.reason("power")
    line = floor.line(quantity=contours)
    revision = floor.nest(contours=contours, seconds=each_s, lines=[line])
    run_id = floor.done("start", T0, queue_item=floor.queue(revision).pk)["run"]
    cut_on = T0 + 10 * SECOND
    if fails_in > 1:
        cut_on = floor.arcs(cut_on, [each_s] * (fails_in - 1)) + 5 * SECOND
    arc = floor.arc(cut_on, None)
    floor.follow()
    dark = cut_on + timedelta(seconds=after_s)
    again = dark + out_min * MINUTE
    floor.done("restart_at", again, contour=fails_in, reason="power", person=supervisor)
    arc.off_us, arc.ended, arc.changed_us = to_us(dark), "lost", next(floor._stamp)
    arc.save()
    end = floor.arcs(again + 8 * SECOND, [each_s] * (contours - fails_in + 1))
    floor.follow()
    bad = {"contour": fails_in, "outcome": "scrap", "cause": "kerf step"}
    floor.done("finish", end + 20 * SECOND, exceptions=[bad])
    run = Run.objects.get(pk=run_id)
    first, second = run.segments.all()
    assert burnt(run, segment=first) == ((fails_in - 1) * each_s + after_s, fails_in)
    assert burnt(run, segment=second) == (
        (contours - fails_in + 1) * each_s,
        contours - fails_in + 1,
    )
    assert burnt(run) == (contours * each_s + after_s, contours + 1)
    assert burnt(run, repeat=True) == (after_s, 1)
    stood = run.stoppages.get()
    assert (stood.reason.code, stood.ended_at - stood.started_at) == ("power", out_min * MINUTE)
    assert line_counts([line.pk])[line.pk].shortage == 1


def test_three_jobs_on_one_sheet_share_every_cent(floor):
    """A $500.00 sheet, no remnant, net areas 1:1:1: 50,000 cents in three are 16,667 twice and
    16,666 once. Machine $90 an hour for 47 min: 7,050 cents by arc time 50:30:20, 3,525, 2,115
    and 1,410."""
    cast.rate("machine", 9_000)
    lines = [floor.line(f"J-{n}", 1, part=f"p{n}") for n in (1, 2, 3)]
    revision = floor.nest(contours=3, seconds=[500.0, 300.0, 200.0], lines=lines)
    revision.contours.update(net_area_mm2=1e6)
    plate = floor.sheet("S-1", cost_minor=50_000)
    floor.done("start", T0, queue_item=floor.queue(revision, plate).pk, sheet="S-1")
    floor.arcs(T0 + MINUTE, [500.0, 300.0, 200.0])
    floor.follow()
    floor.done("finish", T0 + 47 * MINUTE, exceptions=[])
    while run_all_waiting():
        pass

    def cents(kinds):
        return [
            sum(
                Posting.objects.filter(line=line, kind__in=kinds).values_list(
                    "amount_minor", flat=True
                )
            )
            for line in lines
        ]

    material = cents(["material", "credit"])
    assert sorted(material) == [16_666, 16_667, 16_667]
    run = Run.objects.get()
    assert run.closed_at > T0
    machine = cents(["machine"])
    lasted_s = (run.segments.get().ended_at - T0).total_seconds()
    whole = round(9_000 * lasted_s / 3600)
    assert sum(machine) == whole
    assert machine == [round(whole * share) for share in (0.5, 0.3, 0.2)]


def test_three_torches_side_by_side_are_one_burning_table(floor):
    """0-40 s, 10-70 s and 65-90 s: the table burns 0-90 s, the torches 40 + 60 + 25 = 125 s."""
    from planning.reports import table_shares

    for code in ("2", "3"):
        Torch.objects.create(table=floor.table, code=code)
    floor.arc(T0, 40.0, torch="1")
    floor.arc(T0 + 10 * SECOND, 60.0, torch="2")
    floor.arc(T0 + 65 * SECOND, 25.0, torch="3")
    end = T0 + 120 * SECOND
    shares = table_shares(table_id=floor.table.pk, start=T0, end=end, now=end)
    assert (shares.burning_s, shares.torch_s) == (90, 125)
    assert {arc.ended for arc in floor.feed().arcs.all()} == {"off"}


def test_of_three_like_nests_none_is_chosen_and_a_persons_word_holds(floor, supervisor):
    """21 arcs fit all three; none is tied until somebody says which, and a later start of another
    leaves that alone."""
    made = [
        floor.nest(f"N-{name}", contours=21, seconds=14.0, lines=[floor.line(f"J-{name}", 21)])
        for name in "ABC"
    ]
    items = [floor.queue(one) for one in made]
    end = floor.arcs(T0, [14.0] * 21)
    floor.follow()
    assert not ArcAssignment.objects.exists()
    (found,) = unassigned_clusters(floor.table, T0, end)
    assert {one.nest for one in found.suggestions} == {"N-A", "N-B", "N-C"}
    run = run_from_arcs(revision=made[2], arc_keys=found.keys, by=supervisor, why="read the part")
    floor.done("start", T0 - MINUTE, now=end + 9 * MINUTE, queue_item=items[0].pk)
    floor.follow()
    assert burnt(run) == (21 * 14.0, 21)
    assert ArcAssignment.objects.exclude(segment__run=run).count() == 0


def test_a_heat_is_followed_through_a_remnant_of_a_remnant(floor, client, operator):
    """Heat Q: a sheet leaves a remnant, that one leaves another, and six parts of J-9 come from the
    last. From the job's page to the heat's to its certificate are two clicks; the heat's page
    leads back to J-9 and to nothing else."""
    heat = floor.heat("Q")
    floor.sheet("S-1", heat=heat)
    for name, sheet, left in (("N-1", "S-1", 1500), ("N-2", "S-1-R1", 800)):
        floor.nest(name, contours=1, lines=[floor.line(f"J-{name}", 1)])
        floor.done("start", T0, nest=name, sheet=sheet)
        floor.done("finish", T0 + MINUTE, exceptions=[],
                   remnant={"length_mm": left, "width_mm": 1000})  # fmt: skip
    line = floor.line("J-9", 6)
    floor.nest("N-9", contours=6, lines=[line])
    floor.done("start", T0 + 3 * MINUTE, nest="N-9", sheet="S-1-R1-R1")
    made = floor.done("finish", T0 + 9 * MINUTE, exceptions=[])
    assert made["heat_to_mark"] == "Q"
    client.force_login(operator)
    on_job = client.get(reverse("job", args=[line.job_id]))
    assert on_job.context["heats"] == [("Q", heat.pk, 6)]
    assert reverse("heat", args=[heat.pk]) in on_job.content.decode()
    on_heat = client.get(reverse("heat", args=[heat.pk]))
    assert (line.job_id, "J-9", 6, 0) in on_heat.context["jobs"]
    assert reverse("job", args=[line.job_id]) in on_heat.content.decode()
    others = {number for _, number, *_ in on_heat.context["jobs"]}
    assert others == {"J-N-1", "J-N-2", "J-9"}


def test_a_slow_tablets_finish_and_the_desks_are_both_kept(floor, supervisor):
    """The tablet is 2 min slow and says 09:31, which is 09:33; 7 good. The desk closed at 09:40
    with 9. The job of 9 stays open between 7 and 9."""
    line = floor.line(quantity=9)
    day = datetime(2026, 6, 2, tzinfo=UTC)
    floor.done("start", day.replace(hour=9),
               queue_item=floor.queue(floor.nest(contours=9, lines=[line])).pk)  # fmt: skip
    run = str(Run.objects.get().pk)
    floor.done("finish", day.replace(hour=9, minute=40), person=supervisor,
               parts=[{"line": line.pk, "good": 9}])  # fmt: skip
    late = floor.do("finish", day.replace(hour=9, minute=33), now=day.replace(hour=10),
                    fast_by=-2 * MINUTE, run=run,
                    parts=[{"line": line.pk, "good": 7, "scrap": 2, "cause": "bevel"}])  # fmt: skip
    assert late.state == "conflict"
    assert (late.at, late.device_at) == (
        day.replace(hour=9, minute=33),
        day.replace(hour=9, minute=31),
    )
    count = line_counts([line.pk])[line.pk]
    assert (count.good_low, count.good_high, count.shortage_low, count.shortage_high) == (
        7,
        9,
        0,
        2,
    )
    assert PartResult.objects.filter(line=line).count() == 1


def test_a_night_run_over_the_hour_that_is_not_there(floor):
    """Chicago, 8 March 2026, clocks go forward at 02:00: 01:40 CST is 07:40 UTC and 03:25 CDT is
    08:25 UTC, 45 min apart and not 105. The night began on the 7th."""
    start = datetime(2026, 3, 8, 7, 40, tzinfo=UTC)
    end = datetime(2026, 3, 8, 8, 25, tzinfo=UTC)
    revision = floor.nest(contours=2, lines=[floor.line()])
    floor.done("start", start, queue_item=floor.queue(revision).pk)
    floor.arcs(start + SECOND, [1200.0, 1400.0])
    floor.follow()
    floor.done("finish", end, exceptions=[])
    run = Run.objects.get()
    assert run.closed_at - run.opened_at == 45 * MINUTE
    assert [shift_date_of(at).isoformat() for at in (start, end)] == ["2026-03-07"] * 2


def test_one_sheet_two_tables_two_people(floor, south, supervisor):
    """A sheet half burnt on North cannot be scanned as fresh on South, whoever asks."""
    Torch.objects.get_or_create(table=south, code="1")
    revision = floor.nest(contours=4)
    floor.sheet("S-1")
    floor.done("start", T0, nest=revision.nest.name, sheet="S-1")
    other = floor.nest("N-2", contours=2)
    refused = floor.do("start", T0 + MINUTE, nest=other.nest.name, sheet="S-1", person=supervisor,
                       table=Table.objects.get(code="south").code)  # fmt: skip
    assert (refused.state, refused.result["ask"]) == ("refused", "sheet")
