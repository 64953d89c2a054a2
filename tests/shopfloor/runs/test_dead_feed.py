"""A source that died in the middle of a shift: unknown, then entered, then filled by its lines."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dashboards.access import Reader
from dashboards.today.rows import page_of
from planning.reports import table_shares, today
from shopfloor.models import EnteredCount, Stoppage
from shopfloor.runs.arcs import to_us
from telemetry.feeds.push.receipt import Delivery, push_take
from telemetry.journal import Kind, Record
from telemetry.models import Arc
from telemetry.worker.backfill import backfill
from tests.markup import worded
from tests.shopfloor.floor_shop import MINUTE, T0
from tests.shopfloor.runs.test_sources import LOG, Source, burns

START = T0 - 60 * MINUTE  # 06:00 in Chicago: the early shift
END = START + 480 * MINUTE
DEAD, BACK = START + 400 * MINUTE, START + 428 * MINUTE


@pytest.fixture
def dead(floor, north):
    """480 min: 190 arcs of a minute, a stoppage of an hour, 28 min nobody heard. In those, 9 arcs
    of a minute burnt."""
    source = Source("log", LOG)
    before = burns(START, [60.0] * 190)  # each with its gap takes 90 s: over after 285 min
    lost = burns(DEAD + MINUTE, [60.0] * 9, gap_s=60.0)
    after = [(END - MINUTE, "PROGRAM,N-9")]
    source.hear(before)
    Stoppage.objects.create(
        table=north, started_at=START + 300 * MINUTE, ended_at=START + 360 * MINUTE
    )
    opened = {"broken": True, "message": "the link was down for 1680.0 s"}
    push_take(
        token=source.token,
        body=Record(Kind.OPENED, source.sequence, to_us(BACK), 1, opened, b"").pack(),
        delivery=Delivery("f" * 32),
    )
    source.sequence += 1
    source.seq += len(lost)  # the controller counted on
    source.hear(after)
    floor.follow()
    return source, [*before, *lost, *after]


def minutes(north):
    found = table_shares(table_id=north.pk, start=START, end=END, now=END)
    parts = (found.burning_s, found.stopped_s, found.waiting_s, found.unknown_s)
    return [round(seconds / 60, 6) for seconds in parts], found


def facts():
    """What stands beside the strip on today's page."""
    [row] = page_of(today(now=END - timedelta(seconds=1)), Reader(), {}).rows
    return [fact.text for fact in row.facts]


def test_a_dead_source_is_unknown_then_entered_then_filled_once(
    dead, floor, north, supervisor, client, tmp_path
):
    """Burning 190 of 452 min known: 42.0 %; 190 / 480 = 39.6 % to 218 / 480 = 45.4 % possible."""
    source, lines = dead
    sums, found = minutes(north)
    assert sums == [190, 60, 202, 28]
    assert found.burning_share == pytest.approx(190 / 452)
    assert (found.burning_low, found.burning_high) == pytest.approx((190 / 480, 218 / 480))
    assert "28 min unknown: 40–45 % possible" in facts()
    assert not any("program" in fact for fact in facts())  # none was named before the arcs

    client.force_login(supervisor)
    client.post(
        "/sources/at/log/entered/",
        {"torch": floor.torch.pk, "started_at": "2026-06-01T12:40", "ended_at": "2026-06-01T13:08",
         "starts": "8", "minutes": "7", "why": "counted on the table"},
    )  # fmt: skip
    entered = EnteredCount.objects.get()
    assert (entered.started_at, entered.ended_at) == (DEAD, BACK)
    sums, found = minutes(north)
    assert sums == [197, 60, 223, 0]
    assert (found.entered_s, found.entered_burning_s) == (1680, 420)
    assert found.burning_low == found.burning_high == pytest.approx(197 / 480)
    [table] = today(now=END - timedelta(seconds=1)).tables
    assert table.coverage.entered == pytest.approx((60 + 28) * 60)
    assert table.coverage.unknown == 0
    assert table.coverage.measured == pytest.approx((480 - 60 - 28) * 60 - 1)
    assert "28 min as entered, not measured: 7 min burning" in facts()
    assert not any("unknown" in fact for fact in facts())
    assert Arc.objects.count() == 190  # nothing is made up

    path = tmp_path / "controller.csv"
    path.write_text(
        "".join(
            f"{n},{moment.replace(tzinfo=None).isoformat()},{rest}\n"
            for n, (moment, rest) in enumerate(lines, 1)
        )
    )
    for _ in range(2):  # the file read again fills nothing twice
        backfill(source.feed, path, lambda done, of: None)
        floor.follow()
        sums, found = minutes(north)
        assert sums == [199, 60, 221, 0]
        assert found.entered_s == 0
        assert Arc.objects.count() == 199
    entered.refresh_from_db()
    assert (entered.measured_starts, entered.measured_arc_s) == (9, 540.0)
    page = worded(client.get("/sources/at/log/entered/").content.decode())
    assert "lines came: 9 starts (+1), 9.0 min (+2); they count" in page
    assert not any("entered" in fact or "unknown" in fact for fact in facts())
