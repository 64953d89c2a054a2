"""When a page is over. Bare pages take 2 ms throughout."""

from __future__ import annotations

import pytest

from dashboards.bench.judging import Answer, judge

BARE_S = 0.002


def took(*ms: float, temporary_mb: float = 0.0, memory_mb: float = 0.0) -> list[Answer]:
    return [
        Answer(200, one / 1000, one / 1000, 7, temporary_mb=temporary_mb, memory_mb=memory_mb)
        for one in ms
    ]


def judged(small: list[Answer], large: list[Answer]):
    return judge("jobs", "owner", small, large, BARE_S)


def test_the_middle_of_each_shops_answers_is_held_against_the_other():
    page = judged(took(10, 900, 20), took(24, 22, 1))
    assert (page.small_ms, page.large_ms) == (20, 22)
    assert page.ratio == pytest.approx(1.1)
    assert page.bare == pytest.approx(11)
    assert (page.queries, page.over) == (7, ())


def test_a_page_that_grows_with_the_shop_is_over():
    assert judged(took(20), took(31)).over == ("1.6 times the small shop's",)
    assert judged(took(20), took(30)).over == ()


def test_a_ratio_within_one_bare_page_is_noise():
    assert judged(took(2), took(3.9)).over == ()
    assert judged(took(2), took(4.1)).over == ("2.0 times the small shop's",)


def test_a_report_of_more_days_may_take_more_by_as_much_and_no_more():
    def by_day(large_ms: float, days: tuple[int, int]):
        return judge("month", "owner", took(20), took(large_ms), BARE_S, days)

    assert by_day(44, (12, 25)).over == ()
    assert by_day(44, (25, 25)).over == ("2.2 times the small shop's",)
    assert by_day(44, (25, 12)).over == ("2.2 times the small shop's",)  # fewer days excuse nothing
    grown = by_day(65, (12, 25))
    assert grown.over == ("1.6 times the small shop's a day", "32 bare pages")
    assert (grown.ratio, grown.days) == (pytest.approx(65 / 20 * 12 / 25), (12, 25))


def test_a_page_over_thirty_bare_ones_is_over_though_it_never_grows():
    assert judged(took(61), took(61)).over == ("30 bare pages",)
    assert judged(took(59), took(59)).over == ()


def test_temporary_files_and_memory_count():
    page = judged(took(20), took(20, temporary_mb=600, memory_mb=1000))
    assert page.over == ("600 MB of temporary files", "1000 MB of memory")


def test_a_page_that_never_came_is_over_and_has_no_ratio():
    page = judged(took(20), [Answer.late()])
    assert page.over == ("large shop: no answer in time",)
    assert (page.large_ms, page.ratio, page.bare) == (None, None, None)


def test_an_error_is_over_however_quick_it_was():
    assert judged(took(20), [Answer(500, 0.001)]).over == ("large shop answered 500",)


def told(**more):
    return {
        "cpu_s": 0.01, "wall_s": 0.5, "database_s": 0.02, "queries": 3,
        "temporary_bytes": 2 << 20, "memory_mb": 1.5, "late": False,
    } | more  # fmt: skip


def test_processor_time_counts_with_the_databases_and_wall_time_where_that_is_out_of_sight():
    answer = Answer.of(200, told(), b"")
    assert answer.cost_s == pytest.approx(0.03)
    assert answer.temporary_mb == 2
    assert Answer.of(200, told(database_s=None), b"").cost_s == 0.5


def test_a_statement_that_was_stopped_is_no_answer():
    assert Answer.of(503, told(late=True), b"") == Answer.late()
