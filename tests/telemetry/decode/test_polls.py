"""A status line that carries arc, pierce counter and amps, decoded, stored and made again."""

from __future__ import annotations

import json
import random
from itertools import pairwise

import pytest

from telemetry.decode.columnar import ColumnarDecoder
from telemetry.decode.few_lines import FewLinesDecoder
from telemetry.decode.general import Decoder
from telemetry.description import parse_description
from telemetry.errors import DescriptionError
from telemetry.events import ARC_OFF, ARC_ON, PIERCE, SAMPLE_A, Event
from telemetry.journal import Kind, Writer
from telemetry.journal.writer import clock_us
from telemetry.models import Arc, Cursor, Feed, Stray
from telemetry.paths import journal_folder
from telemetry.sample import decode_sample
from telemetry.services import feed_register
from telemetry.verify.feed import check_feed
from telemetry.worker import run_once
from telemetry.worker.backfill import backfill
from telemetry.worker.lane_runner import LaneRunner, announce
from telemetry.worker.rebuild import rebuild
from tests.telemetry.poll_lines import arcs_of, polled_text, simulate
from tests.telemetry.stored import everything


def bytes_of(polls, *, numbered: bool = False) -> bytes:
    return "".join(poll.text(numbered=numbered) for poll in polls).encode()


def decoded(text: str, raw: bytes, decoder: type[Decoder] = Decoder, *, cuts=(), restart=False):
    """All events in order, with the lines and the polls that were no edge."""
    description = parse_description(text)
    events: list[Event] = []
    lines = repeats = 0
    now = decoder(description)
    for low, high in pairwise([0, *cuts, len(raw)]):
        batch = now.feed_block(raw[low:high], position=low, arrival_us=7, source="s")
        events += [*batch.events, *(each for run in batch.runs for each in run.events)]
        lines, repeats = lines + batch.lines, repeats + batch.repeats
        if restart:
            now = decoder.from_state(description, json.loads(json.dumps(now.state())))
    batch = now.flush()
    events += [*batch.events, *(each for run in batch.runs for each in run.events)]
    return events, lines, repeats + batch.repeats


@pytest.mark.parametrize("numbered", [False, True])
@pytest.mark.parametrize("seed", range(8))
def test_arcs_hold_the_pierces_and_the_mean_amps_that_were(seed: int, numbered: bool) -> None:
    polls = simulate(seed, 600, told=0.6)
    expected, strays = arcs_of(polls)
    raw = bytes_of(polls, numbered=numbered)
    pairing = decode_sample(parse_description(polled_text(numbered=numbered)), [raw]).pairing
    found = {
        (a.torch, a.on_us, a.off_us, a.pierces, None if a.amps is None else round(a.amps, 6))
        for a in pairing.arcs if a.ended == "off"
    }  # fmt: skip
    assert found == expected
    assert sum(row[3] or 0 for row in expected) > 50
    assert None in {row[3] for row in expected}
    assert len(pairing.stray_pierces) == strays
    assert not pairing.stray_offs


@pytest.mark.parametrize("more", ["", "debounce_s = 2.5", "debounce_s = 1"])
@pytest.mark.parametrize("decoder", [Decoder, ColumnarDecoder, FewLinesDecoder])
def test_any_split_any_restart_and_any_decoder_give_the_same(decoder: type, more: str) -> None:
    raw = bytes_of(simulate(3, 120))
    text = polled_text(more=more)
    whole = decoded(text, raw)
    chance = random.Random(4)
    for restart in (False, True):
        for count in (1, 7, 40):
            cuts = sorted(chance.sample(range(1, len(raw)), count))
            assert decoded(text, raw, decoder, cuts=cuts, restart=restart) == whole
    events, lines, repeats = whole
    assert lines == repeats + sum(event.kind <= ARC_OFF for event in events)
    assert len({event.key for event in events}) == len(events)


@pytest.mark.parametrize("numbered", [False, True])
def test_an_edge_keeps_the_key_it_has_without_counter_and_amps(numbered: bool) -> None:
    raw = bytes_of(simulate(5, 200), numbered=numbered)
    plain, _, _ = decoded(polled_text(numbered=numbered, beside=False), raw)
    full, _, _ = decoded(polled_text(numbered=numbered), raw)
    assert [event for event in full if event.kind <= ARC_OFF] == plain
    assert {event.kind for event in full} == {ARC_ON, ARC_OFF, PIERCE, SAMPLE_A}


def test_a_bounce_costs_no_pierce_and_gives_no_amps() -> None:
    lines = [
        "00,0,7,0", "01,1,8,90", "02,0,8,0", "03,0,8,0", "06,1,9,50", "07,1,9,60", "09,1,10,70",
        "10,0,11,0", "11,1,12,80", "12,0,12,0", "15,0,12,0",
    ]  # fmt: skip
    raw = "".join(f"2026-11-30T14:00:{line}\n" for line in lines).encode()
    text = polled_text(more="debounce_s = 2").replace('"torch", ', "")
    events, _, _ = decoded(text, raw)
    assert [(e.time_us // 1_000_000 % 60, e.kind, e.value) for e in events] == [
        (1, PIERCE, None), (6, ARC_ON, None), (6, PIERCE, None), (9, PIERCE, None),
        (10, PIERCE, None), (11, PIERCE, None), (12, SAMPLE_A, 65.0), (12, ARC_OFF, None),
    ]  # fmt: skip


def test_a_state_kept_before_polls_could_say_more_goes_on() -> None:
    raw = b"2026-11-30T14:00:01,1,1,5,90\n2026-11-30T14:00:09,1,1,6,90\n"
    first = raw.index(b"\n") + 1
    description = parse_description(polled_text())
    before = Decoder(description)
    before.feed_block(raw[:first], position=0, arrival_us=7, source="s")
    before.flush()
    state = json.loads(json.dumps(before.state()))
    state["outlet"]["edges"]["1"] = state["outlet"]["edges"]["1"][:2]
    after = Decoder.from_state(description, state)
    after.feed_block(raw[first:], position=first, arrival_us=7, source="s")
    assert after.flush().events == []  # it burns on, and of the counter nothing was known


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("counts_to = 99", "counts_to = 0", "F:9: counts_to: must be more than 0"),
        ("counts_to = 99", 'counts_to = "99"', "F:9: counts_to: '99' is not a whole number"),
        ("counts_to = 99", "counts_to = 1.5", "F:9: counts_to: 1.5 is not a whole number"),
        ('"pierces"', '"ignore"', "F:9: counts_to: is for a column pierces"),
        ('"pierces"', '"pierce"', "F:8: columns: unknown column 'pierce', allowed: .*pierces"),
        ('"amps"', '"pierces"', "F:8: columns: pierces is listed twice"),
        ("counts_to = 99", 'decimal = ","', "F:9: decimal: a decimal comma cannot be told"),
    ],
)
def test_a_wrong_description_is_refused_at_its_line(old: str, new: str, fault: str) -> None:
    text = polled_text().replace("\n\n", "\n")
    assert text.splitlines()[8] == "counts_to = 99"
    with pytest.raises(DescriptionError, match=fault):
        parse_description(text.replace(old, new, 1), name="F")


def test_only_a_level_has_a_counter() -> None:
    text = (
        'table = "n"\n[line]\nformat = "columns"\ncolumns = ["time", "signal"]\ncounts_to = 9\n'
        '[signals]\narc_on = ["ON"]\n'
    )
    with pytest.raises(DescriptionError, match="F:5: counts_to: is for format level only"):
        parse_description(text, name="F")
    with pytest.raises(DescriptionError, match="F:4: columns: unknown column 'amps'"):
        parse_description(text.replace('"signal"]', '"signal", "amps"]'), name="F")


def heard(feed: Feed, path, polls, *, numbered: bool, pieces: int) -> None:
    size = len(polls) // pieces + 1
    for at in range(0, len(polls), size):
        with path.open("ab") as file:
            file.write(bytes_of(polls[at : at + size], numbered=numbered))
        run_once([feed])


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("numbered", "more"), [(False, ""), (True, ""), (False, "debounce_s = 1.5")]
)
def test_stored_live_and_made_again_it_is_the_same(tmp_path, numbered, more):
    path = tmp_path / "live.csv"
    path.touch()
    feed = feed_register(name="n", text=polled_text(path, numbered=numbered, more=more), by="test")
    polls = simulate(8, 700, told=0.6)
    heard(feed, path, polls, numbered=numbered, pieces=5)
    before = everything()
    if not more:
        expected, strays = arcs_of(polls)
        columns = ("torch", "on_us", "off_us", "pierces", "amps")
        rows = Arc.objects.filter(ended="off").values_list(*columns)
        assert {(*row[:4], row[4] and round(row[4], 6)) for row in rows} == expected
        assert Stray.objects.filter(kind="pierce").count() == strays > 0
    assert Arc.objects.filter(pierces__gt=0, amps__gt=80).count() > 20
    done = rebuild(feed)
    assert everything() == before
    assert not done.event_changes
    assert not done.arc_changes
    assert [finding for finding in check_feed(feed).findings if finding.fault] == []


@pytest.mark.django_db
@pytest.mark.parametrize("numbered", [False, True])
def test_a_file_read_in_again_or_with_more_behind_it_stores_nothing_twice(tmp_path, numbered):
    polls = simulate(9, 500)
    feed = feed_register(name="n", text=polled_text(numbered=numbered), by="test")

    def read_in(name, some):
        path = tmp_path / name
        path.write_bytes(bytes_of(some, numbered=numbered))
        return backfill(feed, path, lambda done, of: None)

    read_in("first.csv", polls[:300])
    before = everything()
    again = read_in("again.csv", [*polls[:300], polls[300]])
    assert before["events"] <= everything()["events"]
    assert again.events <= 3  # of the one line that is new
    assert 0 <= again.lines <= 1
    whole = read_in("whole.csv", polls)
    assert whole.known + whole.lines <= len(polls)
    expected, _ = arcs_of(polls)
    columns = ("torch", "on_us", "off_us", "pierces")
    assert set(Arc.objects.filter(ended="off").values_list(*columns)) == {
        row[:4] for row in expected
    }
    before = everything()
    assert not rebuild(feed).event_changes
    assert everything() == before
    assert [finding for finding in check_feed(feed).findings if finding.fault] == []
    assert Cursor.objects.get(feed=feed).lines > 0


@pytest.mark.django_db
def test_what_was_heard_before_the_counter_was_described_stays_unknown(tmp_path):
    path = tmp_path / "live.csv"
    path.touch()
    polls = simulate(10, 600)
    feed = feed_register(name="n", text=polled_text(path, beside=False), by="test")
    heard(feed, path, polls[:300], numbered=False, pieces=2)
    feed = feed_register(name="n", text=polled_text(path), by="test")
    heard(feed, path, polls[300:], numbered=False, pieces=2)
    since_us = polls[300].at_us
    assert not Arc.objects.filter(on_us__lt=since_us).exclude(pierces=None).exists()
    since = Arc.objects.filter(on_us__gte=since_us, ended="off")
    assert since.count() > 20
    assert not since.filter(pierces=None).exists()
    before = everything()
    rebuild(feed)
    assert everything() == before
    assert [finding for finding in check_feed(feed).findings if finding.fault] == []


@pytest.mark.django_db
def test_a_running_worker_counts_from_the_description_that_says_so(tmp_path):
    polls = simulate(11, 400)
    feed = feed_register(name="n", text=polled_text(beside=False), by="test")
    storing = LaneRunner(feed, "live")
    writer = Writer(journal_folder("n", "live"), floor=storing.lane.position)
    for beside, some in ((False, polls[:200]), (True, polls[200:])):
        feed_register(name="n", text=polled_text(beside=beside), by="test")
        feed.refresh_from_db()
        announce(feed, storing.lane, writer)
        raw, at = bytes_of(some), len(bytes_of(polls[:200])) * beside
        utc_us, mono_us = clock_us()
        writer.append(
            Kind.DATA, meta={"at": at, "source": "s"}, body=raw, utc_us=utc_us, mono_us=mono_us
        )
        storing.drain(writer.sync())
    writer.close()
    since = Arc.objects.filter(on_us__gt=polls[200].at_us)
    assert since.count() > 10
    assert not since.filter(pierces=None).exists()
