from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import date
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboards.figures.days import days_figure
from dashboards.figures.pit import PitChart, Point, Usual, pit_figure
from dashboards.figures.stack import age_words, left_words, stack
from dashboards.figures.steps import height_px, steps_figure
from dashboards.ledgers import balance, cost
from dashboards.ledgers.wear import PieceRow
from dashboards.theme import CONFIG, DARK, LIGHT, Palette
from tests.dashboards import made


def steps(palette: Palette = LIGHT, **more):
    bridge = cost.bridge(made.month(**more))
    return checked(steps_figure(bridge, palette, currency="USD", digits=2))


def checked(figure: dict[str, Any]) -> go.Figure:
    """Plotly's own classes refuse a name or a value they do not know."""
    return go.Figure(figure)


def test_each_bar_begins_where_the_one_before_it_ended():
    # 1500 -10 = 1490; +70 = 1560; +20 = 1580; +45 = 1625 (dollars)
    spans = {
        row: (base, base + x)
        for bar in steps().data
        for row, base, x in zip(bar.y, bar.base, bar.x, strict=True)
    }
    assert spans == {
        1: (1500, 1490),
        2: (1490, 1560),
        3: (1560, 1580),
        4: (1580, 1625),
    }


def test_more_less_and_off_plan_differ_without_any_colour():
    hatches = {
        row: (bar.marker.pattern.shape, bar.marker.color) for bar in steps().data for row in bar.y
    }
    assert {hatches[1][0], hatches[2][0], hatches[4][0]} == {"", "\\", "/"}
    assert {fill for _, fill in hatches.values()} == {LIGHT.paper}


def test_every_step_has_its_words_and_amount():
    said = [note.text for note in steps().layout.annotations]
    for words in ("<b>Planned</b>", "<b>1,500</b>", "Cutting speed", "−10", "<b>+70</b>"):
        assert words in said
    assert "<b>1,625</b>" in said


def test_axes_carry_their_units():
    assert steps().layout.xaxis.title.text == "cost, USD"
    day = date(2026, 10, 6)
    figure = checked(days_figure(balance.days(made.days([]), day, day), LIGHT, today=day))
    assert figure.layout.yaxis.title.text == "torch time, min"
    assert figure.layout.xaxis.title.text == "shift date"


def test_a_month_without_steps_can_be_drawn():
    jobs = made.frame(made.JOBS, [made.job("A", 100, 100, 1.0)])
    bridge = cost.bridge(made.month(jobs=jobs, terms=made.frame(made.TERMS, []), total_minor=100))
    figure = checked(steps_figure(bridge, LIGHT, currency="USD", digits=2))
    assert (len(figure.data), height_px(bridge)) == (0, 116)


def test_days_stack_fine_on_fast_with_the_plan_beside_them():
    day = date(2026, 10, 6)
    rows = [(day, "North", "fine", 60.0, 70.0, 2), (day, "North", "fast", 30.0, 20.0, 1)]
    figure = checked(days_figure(balance.days(made.days(rows), day, day), LIGHT, today=day))
    bars = {
        bar.name: (tuple(bar.y), bar.offsetgroup, bar.marker.pattern.shape) for bar in figure.data
    }
    assert bars == {
        "fast, burnt": ((20.0,), "burnt", None),
        "fine, burnt": ((70.0,), "burnt", "/"),
        "fast, planned": ((30.0,), "planned", ""),
        "fine, planned": ((60.0,), "planned", ""),
    }


def test_a_day_without_work_has_no_bar_of_zero_height():
    first, last = date(2026, 10, 6), date(2026, 10, 7)
    rows = [(first, "North", "fast", None, 20.0, 1)]
    figure = days_figure(balance.days(made.days(rows), first, last), LIGHT, today=last)
    [bar] = checked(figure).data
    assert tuple(bar.y) == (20.0, None)


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_paper_and_ink_are_the_shop_logs_own(palette):
    layout = steps(palette).layout.template.layout
    assert (layout.paper_bgcolor, layout.font.color) == (palette.paper, palette.ink)
    assert layout.showlegend is False
    assert layout.font.family.startswith("Vollkorn")


def test_no_chart_can_be_sent_anywhere():
    assert CONFIG["displayModeBar"] is False
    assert CONFIG["plotlyServerURL"] == ""


def piece(**more) -> PieceRow:
    values = {
        "piece_id": 1, "label": "E-1", "kind": "electrode", "wear_set": "fast 120 A",
        "duty": "fast", "fitted_at": None, "starts": 150, "arc_s": 3600.0, "pit_mm": 1.2,
        "left": 50, "low": 40, "high": 70, "due": "soon", "basis": "", "price_minor": 1,
        "charged_minor": 1,
    }  # fmt: skip
    return PieceRow(**(values | more))


def test_a_part_is_hatched_as_far_as_its_life_is_used():
    root = ET.fromstring(stack([piece()], "South"))
    [hatch] = [r for r in root.iter("rect") if r.get("fill") == "url(#h-stop)"]
    # 150 of 200 used: three quarters of the electrode's 78 px, from the bottom
    assert (float(hatch.get("y")), float(hatch.get("height"))) == (19.5, 58.5)


def test_a_life_nobody_knows_is_said_and_not_hatched():
    drawn = stack([piece(left=None, low=None, high=None, due="unknown")], "South")
    assert "life unknown" in drawn
    assert "h-stop" not in drawn


@pytest.mark.parametrize("width", [358, 560])
def test_names_of_pieces_cannot_break_the_drawing(width):
    drawn = stack([piece(kind="<b>&", starts=None, arc_s=None)], 'a "b" <c>', width)
    root = ET.fromstring(drawn)
    assert root.get("aria-label") == 'a "b" <c>'
    assert "unknown starts" in "".join(root.itertext())


def test_what_is_left_is_told_with_its_range():
    assert left_words(piece()) == ("50 starts left", "40–70")
    assert left_words(piece(left=1, low=None)) == ("1 start left", "")
    assert left_words(piece(left=0)) == ("past its life", "")
    assert age_words(piece()) == "150 starts, 1 h 00 min arc; pit 1.20 mm"


def test_the_pit_deepens_down_the_page():
    chart = PitChart(1.6, (Point(100, 0.5), Point(200, 1.0)), (), 200, 100, 80, 130)
    root = ET.fromstring(pit_figure(chart))
    first, second = [float(c.get("cy")) for c in root.iter("circle")]
    assert first < second
    assert "reached at 300 starts (280–330): 100 left" in "".join(root.itertext())
    assert root.get("aria-label") == (
        "Pit 1.00 mm after 200 starts; limit 1.6 mm; about 100 starts left."
    )


@pytest.mark.parametrize("starts", [0, 3, 49, 5_000, 99_999])
def test_any_number_of_starts_fits_the_chart(starts):
    root = ET.fromstring(pit_figure(PitChart(1.6, (Point(starts, 2.5),))))
    [dot] = root.iter("circle")
    assert 46 <= float(dot.get("cx")) <= 478
    assert 40 <= float(dot.get("cy")) <= 420 - 44


def test_the_fitted_line_and_its_range_end_at_the_limit():
    """.004 mm a start comes to 1.6 mm at 400, .005 at 320, .0032 at 500."""
    usual = Usual(0.004, 0.0032, 0.005)
    drawn = str(pit_figure(PitChart(limit_mm=1.6, now=(Point(600, 1.5),), usual=usual)))
    [(x0, x1)] = re.findall(r'class="usual" d="M([\d.]+) [\d.]+L([\d.]+) ', drawn)
    [ends] = re.findall(r'class="range"[^>]* d="M[\d. ]+L([\d.]+) [\d.]+L([\d.]+) ', drawn)
    told = [(float(x) - float(x0)) / (float(x1) - float(x0)) for x in ends]
    assert told == pytest.approx([320 / 400, 500 / 400], abs=0.005)
    assert 'class="usual"' not in str(pit_figure(PitChart(limit_mm=1.6, now=(Point(9, 0.1),))))


def test_a_range_that_leaves_the_page_is_drawn_to_its_edge():
    usual = Usual(0.004, 0.0001, 0.005)
    drawn = str(pit_figure(PitChart(limit_mm=1.6, now=(Point(500, 1.5),), usual=usual)))
    [way] = re.findall(r'class="range"[^>]* d="([^"]+)"', drawn)
    assert way.count("L") == 3
