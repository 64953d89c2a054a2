"""Reading a file in, where something comes between."""

from __future__ import annotations

import pytest

from telemetry.models import Event, Reject
from telemetry.services import feed_register
from telemetry.worker import backfill as backfills
from telemetry.worker.rebuild import rebuild
from tests.telemetry.table_lines import feed_text

pytestmark = pytest.mark.django_db
LINES = (
    b"1,2026-03-10T06:00:00,1,ARC ON,\n"
    b"2,2026-03-10T06:00:01,1,AMPS,61.75\n"
    b"3,2026-03-10T06:00:02,1,ARC OFF,\n"
)


def amps() -> list[float]:
    return list(Event.objects.filter(seq=2).values_list("number", flat=True))


def test_a_line_cut_off_by_the_end_of_the_process_is_read_again_whole(tmp_path, monkeypatch):
    # The first block ends within the number, where what is there would read as 61 A.
    monkeypatch.setattr(backfills, "BLOCK_BYTES", LINES.index(b".75"))
    path = tmp_path / "north.csv"
    path.write_bytes(LINES)
    feed = feed_register(name="north", text=feed_text(path), by="test")
    append = backfills._append

    def ends(writer, kind, meta, body=b""):
        if meta.get("at"):
            writer.sync()
            raise KeyboardInterrupt
        append(writer, kind, meta, body)

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(backfills, "_append", ends)
        with pytest.raises(KeyboardInterrupt):
            backfills.backfill(feed, path, lambda done, of: None)
    backfills.backfill(feed, path, lambda done, of: None)
    assert amps() == [61.75]
    rebuild(feed)
    assert amps() == [61.75]
    assert not Reject.objects.exists()


def test_a_last_line_without_its_line_break_is_taken(tmp_path):
    path = tmp_path / "north.csv"
    path.write_bytes(LINES[: LINES.index(b".75")])
    feed = feed_register(name="north", text=feed_text(path), by="test")
    backfills.backfill(feed, path, lambda done, of: None)
    assert amps() == [61.0]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        # The tables hold 200 and 20 letters; PostgreSQL refuses more, and all else with them.
        (f"2,2026-03-10T06:00:01,1,PROGRAM,{'p' * 201}", "bad value"),
        (f"2,2026-03-10T06:00:01,{'t' * 21},AMPS,5", "no torch"),
        (f"2,2026-03-10T06:00:01,{'t' * 21},PROGRAM,p", "no torch"),
    ],
)
@pytest.mark.parametrize("count", [3, 3000])
def test_names_longer_than_the_tables_hold_are_refused(tmp_path, line, reason, count):
    path = tmp_path / "north.csv"
    feed = feed_register(name="north", text=feed_text(path), by="test")
    lines = [f"{n},2026-03-10T06:{n // 60:02d}:{n % 60:02d},1,AMPS,5" for n in range(1, count + 1)]
    lines[1] = line
    path.write_text("\n".join(lines) + "\n")
    backfills.backfill(feed, path, lambda done, of: None)
    assert [reject.reason for reject in Reject.objects.all()] == [reason]
    assert Event.objects.count() == count - 1


def test_a_value_too_large_for_a_number_is_refused_and_the_feed_goes_on(tmp_path):
    path = tmp_path / "north.csv"
    feed = feed_register(name="north", text=feed_text(path), by="test")
    path.write_bytes(LINES.replace(b"61.75", b"9" * 400))
    backfills.backfill(feed, path, lambda done, of: None)
    assert [reject.reason for reject in Reject.objects.all()] == ["bad value"]
    assert amps() == []
