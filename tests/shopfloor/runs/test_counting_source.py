"""Which of a table's sources counts, from which day on."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from shopfloor.models import ArcAssignment, Month, Table, Work
from shopfloor.runs.arcs import master_arcs, to_us
from shopfloor.runs.silences import source_silences
from shopfloor.sources.count import source_count_from, table_recount
from shopfloor.sources.services import source_register
from shopfloor.sources.source_page import source_turns
from telemetry.counted import feed_set_master
from telemetry.models import Feed
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0
from tests.shopfloor.runs.test_sources import CONTACT, DAY, HOUR, LOG, Source, burns, runs_of_arcs


def _count(feed, day, by):
    """As the page does it; the work it asks for is done at once."""
    source_count_from(feed=Feed.objects.get(name=feed), day=day, by=by, now=T0 + 40 * DAY)
    for work in Work.objects.filter(kind="recount"):
        table_recount(key=work.key, payload={})
        work.delete()


@pytest.fixture
def three_days(floor, north):
    """A contact and a log that both hear one run a day, with 4 arcs each: at noon of T0's day
    and of the two after it."""
    contact, log = Source("contact", CONTACT), Source("log", LOG)
    runs = []
    for day in range(3):
        at = T0 + day * DAY
        item = floor.queue(floor.nest(f"N-{day}"))
        runs.append(floor.done("start", at - SECOND, queue_item=item.pk)["run"])
        log.hear(burns(at + SECOND, [29.0] * 4, gap_s=6.0))
        contact.hear(burns(at, [30.0] * 4, gap_s=5.0, on="1", off="0"), numbered=False)
        floor.done("finish", at + 10 * MINUTE, exceptions=[])
    floor.follow()
    return runs


def _heard_by(runs):
    """By run: the source its arcs are of."""
    found = {run: set() for run in runs}
    for key, run in runs_of_arcs().items():
        found[run].add(key.split("|")[0])
    return [found[run] for run in runs]


def test_another_source_counts_from_a_day_on_and_days_before_stay(three_days, north, administrator):
    assert _heard_by(three_days) == [{"contact"}] * 3
    before = list(ArcAssignment.objects.order_by("pk").values())[:4]
    _count("log", (T0 + DAY).date(), administrator)
    assert _heard_by(three_days) == [{"contact"}, {"log"}, {"log"}]
    assert list(ArcAssignment.objects.order_by("pk").values())[:4] == before
    assert master_arcs(north).count() == 12
    # 4 x 30 s of the first day by the contact, then 8 x 29 s by the log
    assert sum(arc.seconds for arc in master_arcs(north)) == 120 + 232
    _count("contact", (T0 + 2 * DAY).date(), administrator)
    assert _heard_by(three_days) == [{"contact"}, {"log"}, {"contact"}]
    _count("contact", T0.date(), administrator)
    assert _heard_by(three_days) == [{"contact"}] * 3
    # What is matched anew by hand or by a late line follows the same days.
    _count("log", (T0 + DAY).date(), administrator)
    table_recount(key=f"north {to_us(T0 - DAY)}", payload={})
    assert _heard_by(three_days) == [{"contact"}, {"log"}, {"log"}]


def test_a_silence_is_that_of_the_source_that_counted_then(three_days, north, administrator):
    """The log was dead before; the contact that counted until yesterday is away since."""
    _count("log", (T0 + DAY).date(), administrator)
    Feed.objects.filter(name="contact").update(enabled=False)
    span = to_us(T0 - MINUTE), to_us(T0 + 6 * DAY)
    hearing = source_silences([north], *span, T0 + 6 * DAY)["north"]
    begun = to_us(T0 + DAY - timedelta(hours=7))  # midnight in Chicago, in summer
    assert hearing.listens
    assert all(start >= begun for start, _ in hearing.silences if start > to_us(T0))


@pytest.mark.parametrize("counted_from", [None, T0 - DAY])
@pytest.mark.parametrize("taken", [False, True])
def test_a_source_that_moved_was_heard_at_the_table_where_it_was(floor, north, counted_from, taken):
    """It listened to North until now, and listens to South from now on, where another source may
    count already."""
    south = Table.objects.create(name="South", code="south")
    if taken:
        Source("theirs", LOG.replace("north", "south"))
    source = Source("log", LOG)
    source.hear(burns(T0, [30.0] * 4))
    if counted_from:
        feed_set_master(feed=source.feed, from_us=to_us(counted_from))
    before = source_silences([north], to_us(T0 - HOUR), to_us(T0 + HOUR), T0 + HOUR)["north"]
    feed = source_register(name="log", text=LOG.replace("north", "south"), by="theo").feed
    assert feed.master is not taken
    now = timezone.now()
    heard = source_silences([north, south], to_us(T0 - HOUR), to_us(T0 + HOUR), T0 + HOUR)
    assert heard["north"].silences == before.silences
    assert (heard["north"].listens, heard["north"].feed) == (True, "log")
    assert heard["south"].listens is taken  # by the other source, if by any
    assert master_arcs(north).count() == 4
    later = source_silences([north, south], to_us(now + MINUTE), to_us(now + HOUR), now + HOUR)
    assert not later["north"].listens
    assert later["south"].listens
    over = source_silences([south], to_us(T0), to_us(now + HOUR), now + HOUR)["south"]
    assert taken or over.from_us >= to_us(now - HOUR)  # no silence of it before it came
    assert [turn.feed.name for turn in source_turns(Feed(table="north", torch="1"))] == ["log"]


def test_a_closed_month_and_a_day_to_come_are_refused(three_days, north, administrator):
    Month.objects.create(first_day=date(2026, 6, 1), closed_at=T0 + 35 * DAY)
    for day in (date(2026, 6, 30), date(2026, 8, 1)):
        with pytest.raises(ValidationError):
            _count("log", day, administrator)
    _count("log", date(2026, 7, 1), administrator)
    assert _heard_by(three_days) == [{"contact"}] * 3


def test_two_torches_with_a_source_each_both_count(floor, north):
    one = Source("one", 'torch = "1"\n' + LOG)
    two = Source("two", 'torch = "2"\n' + LOG)
    one.hear(burns(T0, [300.0]))
    two.hear(burns(T0 + 2 * MINUTE, [120.0]))
    assert sorted(arc.seconds for arc in master_arcs(north)) == [120.0, 300.0]


def test_a_source_that_names_torches_line_by_line_is_no_second_master(floor, north):
    Source("one", 'torch = "1"\n' + LOG)
    every = LOG.replace('"signal"', '"torch", "signal"')
    assert source_register(name="every", text=every, by="theo").feed.master is False
