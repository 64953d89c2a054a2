"""Line drawings: failures counted up, and how many still burn."""

from __future__ import annotations

import re

import pytest

from planning.calc.life.kaplan import survival
from planning.calc.life.records import Life
from shopfloor.svg.counted import Counted, counted_figure
from shopfloor.svg.counted import sentence as counted_words
from shopfloor.svg.plot import Plot, step_of
from shopfloor.svg.survival import Still, fitted_at, sentence, survival_figure

# Remission in weeks under 6-MP (Freireich et al. 1963, as in Kalbfleisch & Prentice 2002, 1.1):
# ended, and seen so long only. Survival there: .857 from 6, .807 from 7, ... .448 from 23.
ENDED = (6, 6, 6, 7, 10, 13, 16, 22, 23)
SEEN = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
PUBLISHED = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


@pytest.fixture
def still():
    lives = [*(Life(age, True) for age in ENDED), *(Life(age, False) for age in SEEN)]
    steps = [(step.age, step.share, step.low, step.high) for step in survival(lives, 0.9)]
    curve = [(0, 1.0, 1.0, 1.0), (20, 0.5, 0.3, 0.7), (40, 0.2, 0.1, 0.4)]
    return Still(steps, curve, SEEN, len(lives), len(ENDED), now=10)


def _path(svg, css):
    return [m.group(1) for m in re.finditer(rf'class="{css}" d="([^"]+)"', str(svg))]


@pytest.mark.parametrize("width", [358, 560])
def test_the_steps_stand_at_the_published_survival(still, width):
    drawn = survival_figure(still, width)
    [way] = _path(drawn, "pace")
    heights = [float(y) for y in re.findall(r"V([\d.]+)", way)]
    grid = [float(y) for y in re.findall(r'class="feint" d="M\d+ ([\d.]+)H', str(drawn))]
    none, all_of_them = grid[0], grid[-1]
    shares = [(none - y) / (none - all_of_them) for y in heights[: len(PUBLISHED)]]
    assert shares == pytest.approx(list(PUBLISHED.values()), abs=1e-3)
    assert heights[-1] == heights[-2]  # level to the longest seen
    assert len(_path(drawn, "whisker")) == len(PUBLISHED)
    assert len(_path(drawn, "end")) == len(SEEN)


def test_how_many_still_burn_is_told_in_words(still):
    assert fitted_at(still, 10) == pytest.approx(0.75)
    assert fitted_at(still, 41) is None
    words = sentence(still)
    assert words.startswith("21 pieces, 9 ended.")
    assert "50 in 100 reach 20 starts." in words
    assert words.endswith("Now 10 starts, which 75 in 100 reach.")
    assert f'aria-label="{words}"' in str(survival_figure(still, 560))


def test_a_part_of_which_nothing_ended_is_drawn_too():
    flat = Still((), ((0, 1.0, 1.0, 1.0), (50, 0.6, 0.2, 0.9)), (12.0,), 1, 0)
    assert "1 piece, 0 ended." in str(survival_figure(flat, 358))


def _counted(**more):
    week = 7 * 86_400
    told = {
        "first": 0, "last": 4 * week, "failed": [week, 2 * week, 2.5 * week],
        "expected": [(0, 0.0), (2 * week, 1.5), (4 * week, 4.0)],
        "low": [(0, 0), (4 * week, 1)], "high": [(0, 0), (4 * week, 8)],
        "wet": [3.5 * week], "ticks": [(0, "1 Nov"), (2 * week, "15 Nov")],
    }  # fmt: skip
    return Counted(**{**told, **more})


def test_failures_are_counted_up_beside_what_was_expected():
    drawn = str(counted_figure(_counted(), 560))
    [way] = _path(drawn, "pace")
    assert way.count("V") == 4  # three failures, and level to the end
    assert "3 failed" in drawn
    assert "4.0 expected" in drawn
    assert len(_path(drawn, "wet")) == 1
    words = counted_words(_counted())
    assert words == (
        "3 failed over these weeks. About 4.0 were expected, 1 to 8 in 90 of 100. "
        "Water was not drained in 1 of the weeks."
    )


def test_more_than_chance_is_drawn_in_the_colour_of_what_is_off():
    assert _path(counted_figure(_counted(more=True), 358), "over")
    assert not _path(counted_figure(_counted(), 358), "over")


def test_names_are_escaped():
    drawn = str(counted_figure(_counted(ticks=[(0, "<b>")]), 358))
    assert "<b>" not in drawn


def test_ticks_are_round_and_few():
    assert [step_of(reach, 5) for reach in (4, 48, 1300)] == [1, 10, 500]
    plot = Plot(560, 250, 5, 5, 0)  # no width and no height divide nothing
    assert (plot.x(5), plot.y(0)) == (plot.left, plot.base)
