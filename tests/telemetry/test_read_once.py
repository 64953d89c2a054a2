from __future__ import annotations

import pytest

from telemetry.counted import counted
from telemetry.models import Arc, CountedSpan, Feed
from telemetry.read_once import once, read_once


def test_within_a_page_a_fact_is_read_once():
    asked = []

    def fact() -> int:
        asked.append(1)
        return len(asked)

    assert (once(fact), once(fact)) == (1, 2)
    with read_once():
        with read_once():  # a report within a page is the same page
            assert once(fact) == 3
        assert once(fact) == 3
    assert once(fact) == 4


def test_two_facts_of_one_name_are_kept_apart():
    def one():
        def fact():
            return 1

        return fact

    def other():
        def fact():
            return 2

        return fact

    with read_once():
        assert (once(one()), once(other())) == (1, 2)


@pytest.mark.django_db
def test_the_next_page_sees_another_source_counted(django_assert_num_queries):
    feed = Feed.objects.create(
        name="north", kind="csv_file", table="north", master=True, created_us=1
    )
    Arc.objects.create(
        key="a",
        feed=feed,
        table="north",
        torch="1",
        on_us=5,
        off_us=9,
        feed_version=1,
        changed_us=9,
    )
    with read_once():
        with django_assert_num_queries(3):  # the spans, and twice the arcs
            assert counted(Arc.objects.all()).count() == counted(Arc.objects.all()).count() == 1
        CountedSpan.objects.create(feed=feed, from_us=7, until_us=None)
    with read_once():
        assert counted(Arc.objects.all()).count() == 0
