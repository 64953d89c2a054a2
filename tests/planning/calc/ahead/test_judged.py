"""What came of a list, worked out by hand."""

from __future__ import annotations

import pytest

from planning.calc.ahead.judged import Came, Void, inside, list_hash, scored, summary, truth

LIST = [{"run": "a"}, {"item": 1}, {"item": 2}]
A = Came("a", None, over=True, last_arc=100.0)
B = Came("b", 1, over=True, last_arc=200.0)
C = Came("c", 2, over=True, last_arc=300.0)


def test_a_list_that_went_as_listed_ended_with_the_last_one_s_last_arc():
    assert truth(LIST, [A, B, C]) == 300.0
    assert truth(LIST, [A, B, C, Came("d", 9, over=True, last_arc=400.0)]) == 300.0
    assert truth(LIST[:1], [A, B]) == 100.0


@pytest.mark.parametrize(
    ("came", "found"),
    [
        ([A, B], None),
        ([A, B, Came("c", 2, over=False, last_arc=250.0)], None),
        ([A, C, B], Void.LIST),
        ([A, Came("x", None, over=True, last_arc=150.0), B, C], Void.LIST),
        ([B, C], Void.LIST),
        ([A, B, Came("c", 2, over=True, last_arc=None)], Void.UNHEARD),
    ],
)
def test_a_list_that_changed_is_void_and_one_that_goes_on_waits(came, found):
    assert truth(LIST, came) is found


def test_the_run_on_the_table_comes_first_though_another_torch_opened_one_before_it():
    assert truth(LIST[:2], [B, A]) == 200.0


def test_a_range_is_scored_against_what_came():
    """199 even quantiles of 0 to 200; a truth of 150 has 149 below it and one at it."""
    drawn = [float(n) for n in range(1, 200)]
    quantiles = [float(10 * n) for n in range(1, 20)]
    score = scored(drawn, quantiles, 1.0, 150.0)
    assert score.raw_pit == pytest.approx(0.75)
    assert score.pit == pytest.approx(0.75)
    # widened twice: z of .75 is .6745, half of it .3372, whose chance is .632
    assert scored(drawn, quantiles, 2.0, 150.0).pit == pytest.approx(0.632, abs=1e-3)
    assert inside(quantiles, 20.0)
    assert inside(quantiles, 180.0)
    assert not inside(quantiles, 180.1)
    assert not inside(quantiles, 19.9)


def test_of_sixty_ranges_chance_leaves_42_to_54():
    """Binomial of 60 at .8: below 42 in 2.0 % of cases, above 54 in 1.3 %."""
    assert summary([True] * 49 + [False] * 11, 3) == {
        "said": 60, "held": 49, "low": 42, "high": 54, "voided": 3,
    }  # fmt: skip
    assert summary([False] * 40 + [True] * 60, 0)["held"] == 60
    assert summary([], 0) == {}


def test_two_lists_alike_have_one_hash():
    assert list_hash(LIST) == list_hash([dict(one) for one in LIST])
    assert list_hash(LIST) != list_hash(LIST[::-1])
