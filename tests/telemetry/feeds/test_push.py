"""Deliveries into a feed's inbox, and from there into its journal."""

from __future__ import annotations

import random

import pytest

from telemetry.errors import PushError
from telemetry.feeds.push.receipt import Delivery, _inboxes, push_take
from telemetry.feeds.push.records import MAX_BODY, unpack_all
from telemetry.journal import Kind, Record, Writer
from telemetry.models import Alarm, Event, Gap, PushToken
from telemetry.paths import inbox_folder
from telemetry.selectors import feed_status
from telemetry.services import feed_register, push_token_find, push_token_issue
from telemetry.worker import run_once
from telemetry.worker.rebuild import rebuild
from tests.telemetry.stored import everything, stored_arcs
from tests.telemetry.table_lines import arcs_of, feed_text, simulate

pytestmark = pytest.mark.django_db
ONE, TWO = "1" * 32, "2" * 32
CAME_US = 1_770_000_000_000_000


@pytest.fixture
def feed(db):
    _inboxes.clear()
    text = feed_text("x").replace('kind = "csv_file"\npath = "x"', 'kind = "push"')
    return feed_register(name="p", text=text, by="test")


@pytest.fixture
def token(feed):
    return push_token_find(feed_name="p", token=push_token_issue(feed=feed, by="theo"))


def records(lines, *, size=700, first=1, at=0):
    """The bytes of these lines in blocks that end anywhere, as a collector of a port has them."""
    raw = "".join(line.text(numbered=True) + "\n" for line in lines).encode()
    found = []
    for start in range(0, len(raw), size):
        body = raw[start : start + size]
        found.append(
            Record(Kind.DATA, first + len(found), CAME_US + len(found), 5,
                   {"source": "live", "at": at + start}, body)
        )  # fmt: skip
    return found


def packed(some):
    return b"".join(record.pack() for record in some)


def deliver(token, some, collector=ONE, **more):
    return push_take(token=token, body=packed(some), delivery=Delivery(collector, **more))


def test_records_delivered_in_any_pieces_again_and_again_are_stored_once(feed, token):
    lines = simulate(5, 300)
    every = records(lines)
    chance = random.Random(5)
    acknowledged = 1
    while acknowledged <= len(every):
        start = chance.randint(1, acknowledged)  # answers are lost: some come once more
        end = chance.randint(acknowledged, min(acknowledged + 4, len(every)))
        acknowledged = deliver(token, every[start - 1 : end])
        assert acknowledged == end + 1
        if chance.random() < 0.4:
            _inboxes.clear()  # another process takes the next
        if chance.random() < 0.3:
            run_once([feed])
    run_once([feed])
    assert stored_arcs() == arcs_of(lines)
    status = feed_status(feed)
    assert (status["lines"], status["duplicates"], status["gaps"]) == (300, 0, 0)
    assert set(Event.objects.values_list("received_us", flat=True)) <= {
        CAME_US + n for n in range(len(every))
    }  # as they came in beside the table, not here
    before = everything()
    rebuild(feed)
    assert everything() == before


def test_a_torn_write_is_delivered_again(feed, token):
    every = records(simulate(6, 60))
    deliver(token, every[:2])
    _inboxes.clear()
    (path,) = (inbox_folder("p") / ONE).glob("*.journal")
    path.write_bytes(path.read_bytes()[:-9])  # the power went before it was on disk
    assert push_take(token=token, body=b"", delivery=Delivery(ONE)) == 2
    assert deliver(token, every[1:]) == len(every) + 1
    run_once([feed])
    assert feed_status(feed)["lines"] == 60


def test_a_record_that_is_missing_is_asked_for(feed, token):
    every = records(simulate(7, 100))
    with pytest.raises(PushError) as problem:
        deliver(token, every[2:])
    assert (problem.value.status, problem.value.next_sequence) == (409, 1)
    assert not Event.objects.exists()


def test_records_the_collector_lost_are_an_alarm_and_a_gap_and_the_rest_is_taken(feed, token):
    every = records(simulate(8, 100))
    deliver(token, every[:1])
    assert deliver(token, every[3:], lost=True) == len(every) + 1
    assert "records 2 to 3" in Alarm.objects.get(code="collector lost records").message
    run_once([feed])
    assert Gap.objects.filter(kind="link", message__contains="records 2 to 3").count() == 1
    assert 0 < feed_status(feed)["lines"] < 100


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"x" * (MAX_BODY + 1), 413),
        (b"not a record", 422),
        (packed(records(simulate(1, 9)))[:-1], 422),
        (packed(records(simulate(1, 60))[::2]), 422),
    ],
)
def test_a_delivery_that_is_not_whole_is_refused_whole(token, body, status):
    with pytest.raises(PushError) as problem:
        push_take(token=token, body=body, delivery=Delivery(ONE))
    assert problem.value.status == status
    assert not inbox_folder("p").exists()


def test_every_flipped_bit_is_seen(token):
    body = packed(records(simulate(1, 9))[:1])
    for at in range(0, len(body), 7):
        spoilt = bytearray(body)
        spoilt[at] ^= 4
        with pytest.raises(PushError):
            unpack_all(bytes(spoilt))


def test_a_token_is_one_collectors_until_a_new_one_is_issued(feed, token):
    lines = simulate(9, 80)
    every = records(lines[:40])
    deliver(token, every)
    with pytest.raises(PushError) as problem:
        deliver(token, every, TWO)
    assert problem.value.status == 409
    fresh = push_token_find(feed_name="p", token=push_token_issue(feed=feed))
    token.refresh_from_db()
    assert token.ended_at is not None
    # The new machine's disk is empty: it numbers from 1 again and goes on with the port.
    deliver(fresh, records(lines[40:]), TWO)
    run_once([feed])
    assert stored_arcs() == arcs_of(lines)
    assert feed_status(feed)["lines"] == 80


def test_a_token_opens_its_own_feed_only_and_is_kept_as_a_hash(feed):
    text = push_token_issue(feed=feed)
    other = feed_register(
        name="q", text=feed_text("x").replace('kind = "csv_file"\npath = "x"', 'kind = "push"')
    )
    assert push_token_find(feed_name="q", token=text) is None
    assert push_token_find(feed_name="p", token=text + "x") is None
    assert push_token_find(feed_name="p", token=text).feed == feed
    assert text not in str(list(PushToken.objects.values()))
    push_token_issue(feed=other)
    assert push_token_find(feed_name="p", token=text) is not None


def test_a_collectors_clock_far_off_is_an_alarm_until_it_is_right(token):
    now_us = __import__("time").time_ns() // 1000
    deliver(token, [], now_us=now_us + 3_600_000_000)
    assert "3600 s ahead" in Alarm.objects.get(cleared_us=None).message
    deliver(token, [], now_us=now_us)
    assert not Alarm.objects.filter(cleared_us=None).exists()


def test_a_full_disk_takes_nothing_and_forgets_nothing(token, monkeypatch):
    every = records(simulate(3, 60))
    deliver(token, every[:1])

    def full(*args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("telemetry.journal.writer._write_at", full)
    with pytest.raises(PushError) as problem:
        deliver(token, every[1:])
    assert (problem.value.status, problem.value.retry) == (503, True)
    monkeypatch.undo()
    assert deliver(token, every[1:]) == len(every) + 1


def test_a_failed_sync_is_not_acknowledged_by_the_next_opening(token, monkeypatch):
    every = records(simulate(3, 60))
    deliver(token, every[:1])

    def broken(descriptor):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("telemetry.journal.writer.os.fdatasync", broken)
    with pytest.raises(PushError):
        deliver(token, every[1:2])
    monkeypatch.undo()
    assert push_take(token=token, body=b"", delivery=Delivery(ONE)) == 2


def test_segments_the_worker_has_taken_are_let_go(feed, token, monkeypatch):
    monkeypatch.setattr("telemetry.feeds.push.receipt.SEGMENT_BYTES", 2_000)
    lines = simulate(4, 400)
    for record in records(lines):
        deliver(token, [record])
    folder = inbox_folder("p") / ONE
    assert len(list(folder.glob("*.journal"))) > 5
    run_once([feed])
    assert len(list(folder.glob("*.journal"))) <= 3
    assert deliver(token, []) == len(records(lines)) + 1
    assert feed_status(feed)["lines"] == 400
    assert Writer(folder).durable.sequence == len(records(lines)) + 1
