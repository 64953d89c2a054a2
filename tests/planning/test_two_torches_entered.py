"""What was entered for one torch of a run says nothing of its other torch."""

from __future__ import annotations

import pytest

from planning.services.run_figures import run_figures
from shopfloor.models import EnteredCount, Fitting, PieceUse, Posting, RunDay, Torch
from tests.planning import cast

pytestmark = pytest.mark.django_db

HOUR = 3600


@pytest.fixture
def run(north, operator):
    """Torch 1 from 0 to 1 h, torch 2 from 1 to 2 h, no arc heard. 80 contours of 30 s: 80 starts
    and 2,400 s of burning planned, half of them with each torch."""
    second = Torch.objects.create(table=north, code="2")
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 30)] * 80)
    made = cast.run(revision, north, seconds=HOUR, evidence="entered", plan=cast.plan([30] * 80))
    other = cast.segment(made, cast.at(cast.NOON, HOUR), HOUR)
    other.torch = second
    other.save()
    cast.fitting(cast.piece(label="in 1"), north, cast.at(cast.NOON, -HOUR), by=operator)
    Fitting.objects.create(
        piece=cast.piece(label="in 2"), torch=second, fitted_at=cast.at(cast.NOON, -HOUR),
        fitted_by=operator,
    )  # fmt: skip
    cast.rate("gas", 3600)  # 1 cent a second
    return made


def _entered(torch, first_h, last_h, starts, arc_s, by):
    return EnteredCount.objects.create(
        torch=torch, started_at=cast.at(cast.NOON, first_h * HOUR), starts=starts, arc_s=arc_s,
        ended_at=cast.at(cast.NOON, last_h * HOUR), by=by, at=cast.at(cast.NOON, 3 * HOUR),
    )  # fmt: skip


def _figures(run):
    run_figures(key=str(run.pk), payload={})
    uses = PieceUse.objects.filter(run=run).select_related("piece")
    gas = Posting.objects.get(run=run, kind="gas")
    return {use.piece.label: (use.starts, use.known_starts) for use in uses}, gas


def test_the_other_torch_took_its_share_of_the_plan(run, north, operator):
    """40 starts and 1,800 s over two hours, half of them while torch 1 was the run's: 20 and
    900 s. Torch 2: 40 planned, 1,200 s."""
    _entered(north.torches.get(code="1"), 0, 2, 40, 1800.0, operator)
    uses, gas = _figures(run)
    assert uses == {"in 1": (20, 20), "in 2": (40, 0)}
    assert (gas.amount_minor, gas.evidence) == (2100, "planned")


def test_both_entered_are_known_each_for_its_own_hour(run, north, operator):
    """30 starts and 600 s; 50 starts and 1,000 s."""
    _entered(north.torches.get(code="1"), 0, 1, 30, 600.0, operator)
    _entered(north.torches.get(code="2"), 1, 2, 50, 1000.0, operator)
    uses, gas = _figures(run)
    assert uses == {"in 1": (30, 30), "in 2": (50, 50)}
    assert (gas.amount_minor, gas.evidence) == (1600, "entered")


def test_of_a_silent_source_the_other_torchs_hour_stays_unknown(run, north, operator):
    from telemetry.models import Gap, Health

    run.evidence = "measured"
    run.save()
    end = cast.to_us(cast.at(cast.NOON, 2 * HOUR))
    feed = cast.feed(north)
    Health.objects.create(feed=feed, link="open", since_us=0, beat_us=end, last_byte_us=end)
    Gap.objects.create(
        feed=feed, key="a", kind="link", at_us=end, message="the link was down for 7200.0 s"
    )
    _entered(north.torches.get(code="1"), 0, 2, 40, 1800.0, operator)
    _figures(run)
    [day] = RunDay.objects.filter(run=run)
    assert (day.entered_s, day.entered_arc_s, day.unknown_s) == (3600, 900, 3600)
