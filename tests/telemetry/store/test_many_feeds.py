"""Many feeds journalled and stored in one go, held against the same bytes decoded alone."""

from __future__ import annotations

import json
from importlib import import_module

import pytest
from django.db import OperationalError

from telemetry.feeds.base import Chunk
from telemetry.journal import JournalError, Kind, Writer
from telemetry.models import Cursor, Event
from telemetry.services import feed_register
from telemetry.worker import rounds
from telemetry.worker.lane_runner import LaneRunner
from telemetry.worker.rebuild import rebuild
from telemetry.worker.runner import Runner
from tests.telemetry.faults.oracles import conserved
from tests.telemetry.table_lines import feed_text, simulate

pytestmark = pytest.mark.django_db
store = import_module("telemetry.store.commit")


class Table:
    """A feed, its runner, and the bytes it was given."""

    def __init__(self, name: str, seed: int, window_s: float = 0.0) -> None:
        text = feed_text("x", window_s=window_s)
        text = text.replace('kind = "csv_file"\npath = "x"', 'kind = "push"')
        self.feed = feed_register(name=name, text=text, by="test")
        self.runner = Runner(self.feed)
        self.runner.prepare()
        self.lines = [line.text(numbered=True) + "\n" for line in simulate(seed, 300)]
        self.raw = b""

    def hears(self, body: bytes) -> None:
        meta = {"source": "live", "at": len(self.raw)}
        self.runner._put(Chunk(Kind.DATA, meta, body))
        self.raw += body


@pytest.fixture
def tables():
    made = [Table(f"t{n}", n) for n in range(5)]
    yield made
    for table in made:
        table.runner.end()


def turn(tables) -> list[Runner]:
    runners = [table.runner for table in tables]
    rounds.write_together(runners)
    return rounds.store_together(runners)


def finish(tables) -> None:
    for table in tables:
        table.runner.flush_if_quiet(now=True)
        table.runner.journal()
        table.runner.storing.drain(table.runner.writer.durable)
        conserved(table.feed, table.raw)


def hear(tables, first: int, last: int = 300) -> None:
    """Each table says its lines from `first` to before `last`, cut in mid-line."""
    for n, table in enumerate(tables):
        body = "".join(table.lines[first:last]).encode()
        cut = (first + n) % (len(body) + 1)
        table.hears(body[:cut])
        table.hears(body[cut:])


def play(tables, first: int = 0, last: int = 300) -> list[list[Runner]]:
    """A few lines a turn; whom each turn left to store by itself."""
    left = []
    for at in range(first, last, 6):
        hear(tables, at, min(at + 6, last))
        left.append(turn(tables))
        for runner in left[-1]:
            runner.storing.drain(runner.writer.durable)
    return left


def in_memory(tables) -> None:
    for table in tables:
        table.runner.follow_in_memory(1 << 20)


@pytest.mark.parametrize("at_hand", [True, False])
def test_what_is_stored_together_is_what_each_would_store_alone(tables, at_hand):
    if at_hand:
        in_memory(tables)
    assert not any(play(tables)[1:])  # plain lines are left to nobody
    finish(tables)
    before = list(Event.objects.order_by("feed", "key").values_list())
    for table in tables:
        rebuild(table.feed)
        conserved(table.feed, table.raw)
    assert list(Event.objects.order_by("feed", "key").values_list()) == before


def test_with_no_room_in_memory_the_journal_is_read_instead(tables):
    for table in tables:
        table.runner.follow_in_memory(600)  # a record or none
    play(tables)
    finish(tables)


def test_behind_a_slow_database_all_is_stored_once_it_answers(tables, monkeypatch):
    in_memory(tables)
    play(tables, 0, 60)

    def locked(every):
        raise OperationalError("database is locked")

    with monkeypatch.context() as patch:
        patch.setattr(rounds, "commit", locked)
        for first in range(60, 120, 10):
            hear(tables, first, first + 10)
            with pytest.raises(OperationalError):
                turn(tables)
    play(tables, 120)
    finish(tables)


def test_an_answer_lost_after_the_commit_doubles_nothing(tables, monkeypatch):
    in_memory(tables)
    play(tables, 0, 60)
    real = store.commit

    def commit(every):
        real(every)
        for news in every:
            news.memory.forget()
            news.memory.marks = {}
        raise OperationalError("server closed the connection unexpectedly")

    hear(tables, 60, 100)
    with monkeypatch.context() as patch:
        patch.setattr(rounds, "commit", commit)
        with pytest.raises(OperationalError):
            turn(tables)
    play(tables, 100)
    finish(tables)


def test_a_transaction_that_fails_in_its_middle_leaves_nothing_and_is_done_again(
    tables, monkeypatch
):
    in_memory(tables)
    play(tables, 0, 60)
    stored = Event.objects.count()
    real = store._moved

    def moved(news, due, counts):
        if news.feed.name == "t3":
            raise OperationalError("disk I/O error")
        return real(news, due, counts)

    hear(tables, 60, 100)
    with monkeypatch.context() as patch:
        patch.setattr(store, "_moved", moved)
        with pytest.raises(OperationalError):
            turn(tables)
    assert Event.objects.count() == stored
    play(tables, 100)
    finish(tables)


def test_a_feed_somebody_else_wrote_to_sends_each_to_its_own_commit(tables):
    in_memory(tables)
    play(tables, 0, 60)
    Cursor.objects.filter(feed=tables[2].feed).update(changed_us=1)
    left = play(tables, 60)
    assert {runner.feed.name for runner in left[0]} == {"t0", "t1", "t2", "t3", "t4"}
    assert not any(left[1:])
    finish(tables)


def test_one_feed_alone_goes_the_same_way_as_many(tables):
    one = tables[:1]
    in_memory(one)
    assert not any(play(one, 0, 60)[1:])
    assert one[0].runner.storing.due  # its sums are left for later
    Cursor.objects.filter(feed=one[0].feed).update(changed_us=1)
    hear(one, 60, 100)
    assert turn(one) == [one[0].runner]  # somebody else wrote: to be stored by itself
    one[0].runner.storing.drain(one[0].runner.writer.durable)
    assert not any(play(one, 100))
    finish(one)


def test_a_refused_line_is_left_to_its_own_feed_and_holds_up_no_other(tables):
    in_memory(tables)
    play(tables, 0, 60)
    hear(tables, 60, 100)
    tables[1].hears(b"what is this\n")
    left = turn(tables)
    assert [runner.feed.name for runner in left] == ["t1"]
    assert {
        t.runner.storing.is_done(t.runner.writer.durable) for t in tables if t is not tables[1]
    } == {True}
    for runner in left:
        runner.storing.drain(runner.writer.durable)
    finish(tables)


def test_one_journal_that_fails_is_noted_and_the_others_are_written(tables, monkeypatch):
    in_memory(tables)
    play(tables, 0, 60)
    real = Writer.harden

    def harden(writer):
        if writer is tables[3].runner.writer:
            raise JournalError("disk on fire")
        real(writer)

    durable = [table.runner.writer.durable for table in tables]
    hear(tables, 60, 70)
    with monkeypatch.context() as patch:
        patch.setattr(Writer, "harden", harden)
        turn(tables)
    moved = [t.runner.writer.durable != before for t, before in zip(tables, durable, strict=True)]
    assert moved == [True, True, True, False, True]
    assert [bool(table.runner.journal_fault) for table in tables] == [False] * 3 + [True, False]
    play(tables, 70)
    assert tables[3].runner.journal_fault == ""
    finish(tables)


def test_sums_are_brought_up_to_date_now_and_then_and_not_at_every_turn(tables, monkeypatch):
    in_memory(tables)
    monkeypatch.setattr(rounds, "_SETTLE_S", 1.0)
    now, settled = [1000.0], []
    real = LaneRunner.settle

    def settle(every):
        settled.append(len(every))
        real(every)

    monkeypatch.setattr(rounds.time, "monotonic", lambda: now[0])
    monkeypatch.setattr(LaneRunner, "settle", staticmethod(settle))
    for first in range(0, 300, 6):
        hear(tables, first, first + 6)
        for runner in turn(tables):
            runner.storing.drain(runner.writer.durable)
        rounds.settle_some([table.runner for table in tables])
        now[0] += 0.05
    # 50 turns of 50 ms: each feed's sums at 0 s, 1 s and 2 s.
    assert len(tables) * 2 <= sum(settled) - len(tables) <= len(tables) * 3
    finish(tables)


def test_the_state_saved_is_the_lanes_own_and_names_the_sums_that_are_due(tables):
    in_memory(tables)
    due = set()
    for first in range(0, 300, 7):
        hear(tables, first, first + 7)
        turn(tables)
        for table in tables:
            storing = table.runner.storing
            saved = Cursor.objects.get(feed=table.feed, lane="live").state
            due.add(json.dumps(saved.pop("due", {})))
            assert saved == json.loads(json.dumps(storing.lane.state()))
    assert len(due) > 1
    finish(tables)
