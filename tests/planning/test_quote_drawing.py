"""Quotes from drawings: the same cost path as a nest's plan, parts laid out by a stated rule."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest
from django.db.models import F

from planning.calc.drawing import Reading
from planning.calc.said import said, stored
from planning.reports import quote_board, quote_detail
from planning.services import drawing_plan as drawing_plans
from planning.services.drawing_plan import drawing_plan
from planning.services.factors import factor_accept
from planning.services.nest_plan import revision_plan
from planning.services.quotes import (
    LineAsked,
    PartsAsked,
    QuoteError,
    quote_decide,
    quote_make,
    quote_revise,
)
from shopfloor.drawings.services import drawing_add, drawing_revise
from shopfloor.models import (
    ChartRow,
    DrawingPlan,
    Factor,
    JobState,
    Material,
    Month,
    NestPlan,
    Posting,
    Sheet,
    Work,
)
from shopfloor.templatetags.office import in_units
from tests.planning import cast
from tests.planning.calc.drawing.made import dxf, square
from tests.planning.test_quotes import NOW, history, nest

pytestmark = pytest.mark.django_db
__all__ = ["history", "nest"]  # fixtures


@pytest.fixture
def drawn(nest, owner):
    return drawing_add(
        name="base plate", file_name="base.dxf", raw=dxf(square), by=owner,
        material=Material.objects.get(pk=nest.nest.material_id), thickness_text="6 mm",
        reading=Reading(),
    )  # fmt: skip


def ask(drawn, nest, by, parts=10, **more):
    asked = PartsAsked(drawn.pk, nest.nest.table_id, nest.nest.wear_set_id, parts)
    return quote_make(
        customer="Fallow Gate Farms", title="plates", lines=[asked], chance=0.2, valid_days=30,
        by=by, now=NOW, **more,
    )  # fmt: skip


def test_a_part_is_planned_on_every_table_and_set_as_a_nest_is(drawn, nest):
    drawing_plan(key=str(drawn.revisions.get().pk), payload={})
    revision_plan(revision=nest, now=NOW)
    plans = DrawingPlan.objects.all()
    assert {(p.table_id, p.wear_set_id) for p in plans} == {
        (p.table_id, p.wear_set_id) for p in NestPlan.objects.all()
    }
    plan = plans.get(table=nest.nest.table_id, wear_set=nest.nest.wear_set_id)
    assert plan.problem == ""
    # 400 mm of outline and the lead-in of 6 mm for 6 mm plate
    assert plan.cut_mm == pytest.approx(406)
    assert plan.pierces == 1
    assert plan.snapshot["rule"].startswith("estimated: no program yet; 6 mm of lead-in")
    assert set(plan.costs_minor) == {"machine", "labour", "gas", "energy", "wear", "bench"}


def test_a_quote_of_parts_is_times_the_rates_and_a_share_of_the_sheet(drawn, history, owner):
    quote = ask(drawn, history, owner, parts=1000)
    [line] = quote.lines.all()
    sheet = Sheet.objects.get()
    # boxes of 100 with 10 between and at edges, by hand
    a_sheet = math.floor((sheet.length_mm - 10) / 110) * math.floor((sheet.width_mm - 10) / 110)
    assert line.made_from["parts_a_sheet"] == a_sheet
    assert (line.revision, line.parts) == (None, 1000)
    assert line.sheets == math.ceil(1000 / a_sheet)
    assert line.material_minor == round(30_000 * 1000 / a_sheet)
    plan = DrawingPlan.objects.get(table=line.table, wear_set=line.wear_set)
    hours = (1000 * plan.total_s + line.sheets * 3600) / 3600
    arc_h = 1000 * (plan.cut_s + plan.pierce_s) / 3600
    bench_h = 1000 * plan.bench_min / 60
    wear = 1000 * 1900 / 1000
    known = hours * 9000 + arc_h * 3600 + bench_h * 4800 + wear
    energy = line.plan_minor - known
    assert 0 <= energy < 0.05 * known
    # each sheet is loaded in 500 s and burns e^.1 of its plan, as the shop's runs did
    cut_s = 1000 * plan.total_s
    took = (line.sheets * 500 + cut_s * math.exp(0.1)) / 3600 * 9000
    took += (arc_h * 3600 + energy) * math.exp(0.1) + bench_h * 4800 + wear
    assert line.cost_minor == pytest.approx(took, rel=1e-5)
    assert quote.cost_minor == line.cost_minor + line.material_minor
    assert any("no nest yet" in rule for rule in line.made_from["rules"])


def test_a_revision_takes_the_newest_drawing_and_the_old_quote_stays(drawn, history, owner):
    first = ask(drawn, history, owner)
    drawing_revise(
        drawing=drawn, file_name="base2.dxf", raw=dxf(lambda s: square(s, side=200)),
        reading=Reading(), by=owner,
    )  # fmt: skip
    second = quote_revise(quote=first, by=owner, now=NOW)
    assert second.lines.get().drawing.revision == 2
    assert second.cost_minor > first.cost_minor
    assert first.lines.get().drawing.revision == 1


def test_moved_prices_and_the_score_know_quotes_from_drawings(drawn, history, owner):
    quote = ask(drawn, history, owner)
    cast.rate("bench", 5280, valid_from=NOW.date())
    cast.sheet(32_400, received_at=NOW)
    assert quote_board(now=NOW).rows[0].moved == (
        "bench dearer by 10.0%", "MS 6 mm sheet dearer by 8.0%",
    )  # fmt: skip
    _, [line] = cast.job("J-21", state=JobState.CLOSED)
    month = Month.objects.create(first_day=NOW.date().replace(day=1))
    Posting.objects.create(
        key="x", month=month, shift_date=NOW.date(), kind="machine", line=line, evidence="measured",
        amount_minor=quote.lines.get().cost_minor + 1,
    )  # fmt: skip
    quote_decide(quote=quote, won=True, by=owner, now=NOW, job_number="J-21")
    row = quote_detail(quote_id=quote.pk, now=NOW).row
    assert row.overran is True


def test_a_line_of_each_kind_on_one_quote(drawn, history, owner):
    asked = [
        LineAsked(history.nest_id, 2),
        PartsAsked(drawn.pk, history.nest.table_id, history.nest.wear_set_id, 3),
    ]
    quote = quote_make(
        customer="x", title="y", lines=asked, chance=0.2, valid_days=30, by=owner, now=NOW
    )
    assert [line.parts for line in quote.lines.all()] == [None, 3]
    assert quote.cost_minor == sum(li.cost_minor + li.material_minor for li in quote.lines.all())


def test_a_part_larger_than_the_sheet_has_no_price_and_says_so(drawn, history, owner):
    drawing_revise(
        drawing=drawn, file_name="b.dxf", raw=dxf(lambda s: square(s, side=5000)),
        reading=Reading(), by=owner,
    )  # fmt: skip
    quote = ask(drawn, history, owner)
    assert quote.cost_minor is None
    assert any("does not lie on a sheet" in said for said in quote.unknown)


def test_what_is_not_known_is_named(drawn, nest, owner):
    Sheet.objects.all().delete()
    quote = ask(drawn, nest, owner)
    assert quote.unknown == ["base plate: no sheet of it has a price in stock"]


def test_why_a_drawing_has_no_plan_keeps_its_lengths_as_numbers(drawn, history, owner, monkeypatch):
    """25.4 mm is an inch."""
    drawing_plan(key=str(drawn.revisions.get().pk), payload={})
    monkeypatch.setattr("planning.services.quote_reckoning.drawing_revision_plan", lambda **_: None)
    DrawingPlan.objects.filter(revision__drawing=drawn).update(
        problem="the chart ends at 25.4 mm",
        snapshot={"problem": stored(said("the chart ends at {0}", 25.4))},
    )
    quote = ask(drawn, history, owner)
    quote.refresh_from_db()
    read = [in_units(text, SimpleNamespace(units="inch")) for text in quote.unknown]
    assert "base plate: the chart ends at 1 in" in read


@pytest.mark.parametrize(("parts", "said"), [(0, "how many parts"), (-3, "how many parts")])
def test_no_parts_are_refused(drawn, history, owner, parts, said):
    with pytest.raises(QuoteError, match=said):
        ask(drawn, history, owner, parts=parts)


def test_a_file_that_is_gone_leaves_a_problem_and_no_figure(drawn):
    revision = drawn.revisions.get()
    revision.file.delete(save=False)
    type(revision).objects.filter(pk=revision.pk).update(file="drawings/gone.dxf")
    drawing_plan(key=str(revision.pk), payload={})
    assert {plan.problem for plan in DrawingPlan.objects.all()} == {
        "The drawing's file is not there any more."
    }


def test_a_drawing_planned_elsewhere_meanwhile_goes_by_the_newer_chart(drawn, monkeypatch):
    """The first way through has read the chart when a faster one takes effect and is published."""
    revision, fill = drawn.revisions.get(), drawing_plans.fill

    def while_another(*told, **more):
        monkeypatch.setattr(drawing_plans, "fill", fill)
        ChartRow.objects.update(speed_mm_min=F("speed_mm_min") * 2)
        drawing_plan(key=str(revision.pk), payload={})
        fill(*told, **more)

    drawing_plan(key=str(revision.pk), payload={})
    before = {plan.wear_set_id: plan.cut_s for plan in DrawingPlan.objects.filter(problem="")}
    monkeypatch.setattr(drawing_plans, "fill", while_another)
    drawing_plan(key=str(revision.pk), payload={})
    after = {plan.wear_set_id: plan.cut_s for plan in DrawingPlan.objects.filter(problem="")}
    assert before
    assert all(after[key] < 0.7 * took_s for key, took_s in before.items())


def test_an_accepted_factor_stands_beside_the_estimate_and_never_in_it(drawn, nest, owner):
    """1.10 of fine 50 A on this plate: the expected time is the bare one x 1.10, and no cost or
    bare time moves."""
    revision = drawn.revisions.get()
    drawing_plan(key=str(revision.pk), payload={})
    where = {"table": nest.nest.table_id, "wear_set": nest.nest.wear_set_id}
    bare = DrawingPlan.objects.get(**where)
    factor = Factor.objects.create(
        wear_set=nest.nest.wear_set, material=nest.nest.material, thickness_mm=6.0, value=1.1,
        low=1.0, high=1.2, bare=1.1, shop=1.1, runs=7, runs_from=NOW.date(), runs_to=NOW.date(),
        proposed_at=NOW,
    )  # fmt: skip
    Work.objects.all().delete()
    factor_accept(factor=factor, by=owner, why="a month of runs", now=NOW)
    assert Work.objects.filter(kind="drawing", key=str(revision.pk)).exists()
    drawing_plan(key=str(revision.pk), payload={})
    plan = DrawingPlan.objects.get(**where)
    assert (plan.total_s, plan.costs_minor) == (bare.total_s, bare.costs_minor)
    assert plan.snapshot["factor"]["value"] == 1.1
    assert plan.snapshot["factor"]["expected_s"] == pytest.approx(bare.total_s * 1.1)
    assert "factor" not in bare.snapshot


def test_marking_is_said_to_be_left_out_of_the_estimate(nest, owner):
    def marked(space):
        square(space)
        space.add_line((20, 20), (80, 20), dxfattribs={"layer": "MARK"})

    made = drawing_add(
        name="marked plate", file_name="m.dxf", raw=dxf(marked), by=owner,
        material=nest.nest.material, thickness_text="6 mm", reading=Reading(),
    )  # fmt: skip
    drawing_plan(key=str(made.revisions.get().pk), payload={})
    plan = DrawingPlan.objects.filter(problem="").first()
    assert plan.snapshot["rule"].endswith("marking takes time too and is not in it")
