"""Wear, cost, runs and opened figures for somebody who reads inches: no millimetre is left."""

from __future__ import annotations

import re

import pytest

from dashboards.access import Reader
from dashboards.figures.pit import PitChart, Point, pit_figure, said
from dashboards.pages import cost_square, cost_tables
from planning.calc import said as sentences
from planning.services.run_figures import run_figures
from shopfloor.models import Inspection, PieceOutlook
from tests.dashboards import made
from tests.dashboards.conftest import NOW
from tests.planning import cast

pytestmark = pytest.mark.django_db
MM = re.compile(r"\bmm\b")
WORDS = re.compile(r"<[^>]*>")


@pytest.fixture
def inch(owner):
    owner.units = "inch"
    owner.save()
    return owner


@pytest.fixture
def worn(a_run, north, operator):
    piece = cast.piece(label="E-7")
    cast.fitting(piece, north, cast.NOON, by=operator)
    Inspection.objects.create(piece=piece, at=cast.at(cast.NOON, 3900), by=operator, pit_mm=1.27)
    run_figures(key=str(a_run.pk), payload={})
    PieceOutlook.objects.filter(piece=piece).delete()
    PieceOutlook.objects.create(
        piece=piece, starts=150, arc_s=3600, pit_mm=1.27, starts_left=60, due="soon",
        basis_said=sentences.stored(sentences.said("pit {0}, limit {1}", 1.27, 1.6)),
        computed_at=NOW,
    )  # fmt: skip
    return a_run


def test_the_wear_page_has_no_millimetre_for_who_reads_inches(worn, inch, as_, at_noon):
    """1.27 mm is 0.05 in, the limit of 1.6 mm 0.063 in."""
    page = WORDS.sub(" ", as_("owner").get("/wear/").content.decode())
    assert not MM.search(page), MM.search(page) and page[MM.search(page).start() - 80 :][:160]
    assert "0.0500 in" in page
    assert "change at 0.063 in" in page
    assert "pit 0.05 in, limit 0.063 in" in page


def test_the_wear_page_has_millimetres_for_the_others(worn, as_, at_noon):
    page = WORDS.sub(" ", as_("owner").get("/wear/").content.decode())
    assert "1.27 mm" in page
    assert not re.search(r"\d in\b(?! 100)", page)  # "80 in 100" is a share


def test_the_pits_chart_is_ruled_in_whole_hundredths_of_an_inch():
    chart = PitChart(1.6, (Point(150, 1.27, "6 Oct"),), inch=True)
    drawn = pit_figure(chart)
    assert [f">{one}</text>" in drawn for one in ("0.000", "0.010", "0.060", "0.063")] == [True] * 4
    assert said(chart) == "Pit 0.0500 in after 150 starts; limit 0.063 in."


def test_a_run_and_its_opened_figures_too(worn, inch, as_, at_noon):
    from shopfloor.models import NestPlan

    plan = NestPlan.objects.create(
        revision=worn.revision, table=worn.table, wear_set=cast.wear_set(), cut_s=60, pierce_s=1,
        total_s=70, pierces=3, computed_at=NOW,
        snapshot={"chart": {"speed_mm_min": 2540.0}, "motion": {"rapid_mm_min": 12700.0}},
    )  # fmt: skip
    opened = as_("owner").get(f"/figures/plan/{plan.pk}/").content.decode()
    assert "100 in/min" in opened
    assert "500 in/min" in opened
    assert not MM.search(WORDS.sub(" ", opened))
    page = as_("owner").get(f"/runs/{worn.pk}/").content.decode()
    assert not re.search(r"\d mm\b", WORDS.sub(" ", page))


def test_the_cost_tables_name_thickness_in_inches():
    month = made.month()
    table = made.texts(cost_tables.hours_table(month, Reader(cost=True, inch=True)))
    assert " in " in table
    assert not MM.search(table)
    assert MM.search(made.texts(cost_tables.hours_table(month, Reader(cost=True))))
    assert cost_square.STEP_IN == 0.005
