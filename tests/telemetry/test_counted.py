"""Whose arcs count where sources come to a torch, leave it and come back."""

from __future__ import annotations

from importlib import import_module

import pytest
from django.apps import apps

from telemetry.counted import counted, counted_spans, feed_set_master, spans_at
from telemetry.models import Arc, CountedSpan, Feed, Gap
from telemetry.services import feed_register
from tests.telemetry.table_lines import feed_text

pytestmark = pytest.mark.django_db


def source(name: str, table: str, torch: str) -> Feed:
    head, _, rest = feed_text("x").replace('"north"', f'"{table}"').partition("[source]")
    own = f'torch = "{torch}"\n' if torch else ""
    return feed_register(name=name, text=f"{head}{own}[source]{rest}", by="test")


def burns(feed: Feed, on_us: int, torch: str = "1") -> None:
    Arc.objects.create(
        key=f"{feed.name}|{torch}|{on_us}", feed=feed, table=feed.table, torch=torch, on_us=on_us,
        off_us=on_us + 5, ended="off", feed_version=1, clock_version=0, changed_us=on_us,
    )  # fmt: skip


def counts(table: str) -> set[str]:
    return set(counted(Arc.objects.filter(table=table)).values_list("feed__name", flat=True))


@pytest.mark.parametrize("torch", ["1", ""])
def test_a_new_source_counts_nothing_that_one_before_it_has_counted(torch: str) -> None:
    burns(source("a", "T1", "1"), 1000)
    source("a", "T2", "1")
    new = source("c", "T1", torch)
    burns(new, 1000)
    assert new.master
    assert counts("T1") == {"a"}
    [span] = counted_spans([new])[new.pk]
    burns(new, span.from_us)
    assert counts("T1") == {"a", "c"}


def test_a_new_source_of_another_torch_counts_from_the_beginning() -> None:
    source("a", "T1", "1")
    source("a", "T1", "2")
    new = source("d", "T1", "3")
    assert not CountedSpan.objects.filter(feed=new).exists()
    assert not source("e", "T1", "2").master
    assert not CountedSpan.objects.filter(feed__name="e").exists()


def test_lines_that_went_missing_before_a_move_are_of_the_first_table() -> None:
    moved = source("a", "T1", "1")
    Gap.objects.create(feed=moved, key="before", kind="seq", at_us=1000)
    moved = source("a", "T2", "1")
    [_, span] = counted_spans([moved])[moved.pk]
    Gap.objects.create(feed=moved, key="behind", kind="seq", at_us=span.from_us)
    Gap.objects.create(feed=source("b", "T3", "1"), key="other", kind="seq", at_us=1000)

    def gaps(table: str) -> list[str]:
        rows = counted(Gap.objects.all(), at="at_us", heard_at=table)
        return list(rows.values_list("key", flat=True))

    assert [gaps(table) for table in ("T1", "T2", "T3")] == [["before"], ["behind"], ["other"]]


def test_counting_from_a_day_on_takes_it_from_sources_that_have_left() -> None:
    burns(source("a", "T1", "1"), 1000)
    gone = source("a", "T2", "1")
    new = source("c", "T1", "1")
    burns(new, 1000)
    feed_set_master(feed=new, from_us=500)
    assert counts("T1") == {"c"}
    gone.refresh_from_db()
    assert gone.master
    before, now = counted_spans([gone])[gone.pk]
    assert (before.until_us, now[1:]) == (500, (None, "T2", "1"))


def test_a_source_that_moved_to_another_torch_keeps_what_it_counted_at_the_first() -> None:
    burns(source("a", "T1", "1"), 1000)
    moved = source("a", "T1", "2")
    first, second = counted_spans([moved])[moved.pk]
    assert (first.torch, second.torch, first.until_us) == ("1", "2", second.from_us)
    feed_set_master(feed=moved, from_us=500)
    assert counted_spans([moved])[moved.pk] == [first, second]
    assert list(spans_at("T1", "1").values_list("torch", flat=True)) == ["1"]
    new = source("c", "T1", "1")
    burns(new, 1000)
    assert counts("T1") == {"a"}


def test_the_torch_of_times_before_is_that_of_their_arcs() -> None:
    fill = import_module("telemetry.migrations.0009_counted_span_torch").fill
    feed = source("a", "T2", "2")
    burns(feed, 1000, "1")
    Arc.objects.update(table="T1")
    for from_us, until_us in ((None, 2000), (2000, 3000), (3000, None)):
        CountedSpan.objects.create(feed=feed, table="T2", from_us=from_us, until_us=until_us)
    fill(apps, None)
    rows = CountedSpan.objects.order_by("pk").values_list("table", "torch")
    assert list(rows) == [("T1", "1"), ("T2", "2"), ("T2", "2")]
