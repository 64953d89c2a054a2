"""Lines taken by the run come to exactly what they come to one by one."""

from __future__ import annotations

import json
import random
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from telemetry.decode import columnar
from telemetry.decode.column_reader import ColumnReader
from telemetry.decode.general import Decoder
from telemetry.description import Description, parse_description
from telemetry.events import Batch, Run

TOML = """
table = "north"
{torch}
[line]
format = "columns"
separator = "{separator}"
columns = [{columns}]
[time]
zone = "{zone}"
[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE", "P"]
program = ["PROGRAM"]
sample_a = ["AMPS"]
sample_v = ["VOLTS"]
[order]
window_s = {window_s}
"""
LAYOUTS = (
    ["seq", "time", "signal", "value"],
    ["time", "seq", "signal"],
    ["signal", "ignore", "value", "seq", "torch", "time"],
)
ODD_LINES = (
    b"", b" ", b"\xff\xfe", b"x" * 9000, b"5", b"\x00", b'"1","2"', b"1,2,3,4,5,6,7,8",
    b"\xc3\xa9", b"\r", b"seq,time,signal,value", b"signal,value,time,seq", b"time,seq,signal",
)  # fmt: skip


def plain_reader(torch: str, columns: list[str]) -> ColumnReader:
    """A reader of one torch's lines in UTC, in commas."""
    text = TOML.format(
        torch=f'torch = "{torch}"', separator=",", zone="UTC", window_s=0,
        columns=", ".join(f'"{column}"' for column in columns),
    )  # fmt: skip
    reader = ColumnReader.make(parse_description(text))
    assert reader is not None
    return reader


def description_of(chance: random.Random) -> Description:
    columns = chance.choice(LAYOUTS)
    torch = "" if "torch" in columns and chance.random() < 0.5 else 'torch = "7"'
    return parse_description(
        TOML.format(
            torch=torch,
            separator=chance.choice([",", ",", ";", "\\t"]),
            columns=", ".join(f'"{column}"' for column in columns),
            zone=chance.choice(["UTC", "America/Chicago", "Australia/Lord_Howe"]),
            window_s=chance.choice([0, 0.5, 2.0, 30]),
        )
    )


def stamp(at: datetime, chance: random.Random) -> str:
    text = at.strftime("%Y-%m-%d") + chance.choice("TTTTT t") + at.strftime("%H:%M:%S")
    digits = chance.choice([0, 3, 3, 3, 6, 1, 7])
    text += "" if not digits else "." + f"{at.microsecond:06d}0"[:digits]
    text += chance.choice([""] * 12 + ["Z", "z", "+02:00", " "])
    return text if chance.random() > 0.01 else text.replace("-", "/").replace("0", "6", 1)


def made(description: Description, chance: random.Random, count: int) -> bytes:
    """Lines that mostly follow each other, through a change of clocks, with every kind of fault."""
    zone = ZoneInfo(description.time.zone or "UTC")
    # Clocks change in Chicago on 2026-03-08 at 08:00 and 2026-11-01 at 07:00, on Lord Howe Island
    # on 2026-04-04 at 15:00 and 2026-10-03 at 15:30, all UTC.
    start = chance.choice(["2026-03-08T07:50", "2026-11-01T05:50", "2026-04-04T14:20",
                           "2026-10-03T15:20", "2026-06-01T00:00", "2000-12-31T23:58"])  # fmt: skip
    at = datetime.fromisoformat(start).replace(tzinfo=ZoneInfo("UTC"))
    seq, fault = 0, chance.choice([0.0, 0.01, 0.2])
    sep = description.line.separator
    lines = []
    for _ in range(count):
        at += timedelta(milliseconds=chance.choice([0, 1, 250, 2_000, 40_000]))
        seq += 1
        if chance.random() < fault:
            at -= timedelta(seconds=chance.choice([1, 3, 3600]))
        if chance.random() < fault:
            seq = chance.choice([1, seq + 3, max(0, seq - 2), seq - 1, 10**19, 10**17])
        word = chance.choice(["ARC ON", "ARC OFF", "PIERCE", "P", "AMPS", "VOLTS", "PROGRAM"])
        value = {"AMPS": "61", "VOLTS": "121.5", "PROGRAM": "a b.nc"}.get(word, "")
        if chance.random() < fault:
            value = chance.choice(["", " ", "z" * 201, "1e3", "0x1", "nan", " 7 ", "1,5", "١"])
        if chance.random() < fault:
            word = chance.choice([" ARC ON ", "arc on", "", "WHAT"])
        said = {
            "seq": chance.choice([str(seq)] * 20 + [f"{seq:05d}", f" {seq}", f"+{seq}"]),
            "time": stamp(at.astimezone(zone), chance), "signal": word, "value": value,
            "torch": chance.choice(["1", "2", "", " 1"] * 9 + ["t" * 21]), "ignore": "zz",
        }  # fmt: skip
        row = sep.join(said[column] for column in description.line.columns).encode()
        lines.append(row if chance.random() >= fault else chance.choice([*ODD_LINES, row, row[:9]]))
        if chance.random() < fault:
            lines.append(lines[-1])
    end = chance.choice([b"\n", b"\r\n"])
    return chance.choice([b"", b"\xef\xbb\xbf"]) + end.join(lines) + chance.choice([b"", end])


def spelt_out(batch: Batch) -> list[tuple]:
    """Runs as (key, time, kind, torch, seq, stamp, value, name, arrival), the common part."""
    events = [*batch.events]
    rows: list[tuple] = []
    for run in [*batch.runs, Run(events, None)]:
        rows += [
            (e.key, e.time_us, e.kind, e.torch, e.seq, e.raw_stamp, e.value, e.text, e.arrival_us)
            for e in run.events
        ]
        if run.lines is not None:
            for row in run.lines.rows(run.arrival_us or 0, 1):
                key, at_us, seq, _, torch, kind, value, name, stamp, arrival_us, _, _ = row
                rows.append((key.hex(), at_us, kind, torch, seq, stamp, value, name, arrival_us))
    return rows


def rest(batch: Batch) -> tuple:
    return (batch.late, batch.rejects, batch.gaps, batch.duplicates, batch.lines, batch.repeats)


@pytest.mark.parametrize("seed", range(120))
def test_runs_and_single_lines_come_to_the_same_events_state_and_asides(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    chance = random.Random(seed)
    monkeypatch.setattr(columnar, "_SMALL", 1)
    description = description_of(chance)
    raw = made(description, chance, 400)
    one, many = Decoder(description), columnar.ColumnarDecoder(description)
    at = 0
    while at < len(raw):
        block = raw[at : at + chance.choice([7, 900, 9_000, 60_000])]
        given = {"position": at, "arrival_us": at, "source": f"s{at // 25_000}"}
        at += len(block)
        first, second = one.feed_block(block, **given), many.feed_block(block, **given)
        assert spelt_out(second) == spelt_out(first)
        assert rest(second) == rest(first)
        assert json.dumps(many.state()) == json.dumps(one.state())
        if chance.random() < 0.2:
            many = columnar.ColumnarDecoder.from_state(
                description, json.loads(json.dumps(many.state()))
            )
    first, second = one.flush(fragment="take"), many.flush(fragment="take")
    assert (spelt_out(second), rest(second)) == (spelt_out(first), rest(first))
    assert json.dumps(many.state()) == json.dumps(one.state())


def test_a_header_before_each_line_of_a_long_block_is_passed_over() -> None:
    description = parse_description(
        TOML.format(torch="", separator=",", columns='"seq", "time", "signal"', zone="UTC",
                    window_s=2.0)
    )  # fmt: skip
    headers = ("seq,time,signal", "time,seq,signal")
    raw = "".join(
        f"{headers[n % 2]}\n" + ("{0},{1},P\n", "{1},{0},P\n")[n % 2].format(
            n, f"2026-03-10T06:{n // 60:02d}:{n % 60:02d}")
        for n in range(1500)
    ).encode()  # fmt: skip
    one, many = Decoder(description), columnar.ColumnarDecoder(description)
    given = {"position": 0, "arrival_us": 1, "source": "s"}
    first, second = one.feed_block(raw, **given), many.feed_block(raw, **given)
    assert (first.lines, len(first.rejects)) == (1500, 0)
    assert spelt_out(second) == spelt_out(first)
    assert many.state() == one.state()
    same = b"".join(b"seq,time,signal\n%d,2026-03-10T06:00:00,P\n" % n for n in range(1500, 3000))
    assert many.feed_block(same, **{**given, "position": len(raw)}).lines == 1500


def test_plain_lines_are_in_fact_taken_by_the_run() -> None:
    description = parse_description(
        TOML.format(torch="", separator=",", columns='"seq", "time", "signal"', zone="UTC",
                    window_s=2.0)
    )  # fmt: skip
    raw = b"".join(
        b"%d,2026-03-10T06:%02d:%02d,PIERCE\n" % (n, n // 60, n % 60) for n in range(900)
    )
    decoder = columnar.ColumnarDecoder(description)
    batch = decoder.feed_block(raw, position=0, arrival_us=1, source="s")
    taken = sum(len(run.lines) for run in batch.runs if run.lines)
    # All but the first line and the two seconds that still wait in the window.
    assert taken == 900 - 1 - 2


@pytest.mark.parametrize(
    ("zone", "hour", "is_plain"),
    [
        # Lord Howe Island, 2026-04-05: at 02:00 clocks go back to 01:30; on 2026-10-04 at 02:00
        # on to 02:30. Chicago, 2026-11-01: 01:00 to 02:00 comes twice; 2026-03-08 02:00 never.
        ("Australia/Lord_Howe", "2026-04-05T01", False),
        ("Australia/Lord_Howe", "2026-04-05T02", True),
        ("Australia/Lord_Howe", "2026-10-04T02", False),
        ("Australia/Lord_Howe", "2026-10-04T03", True),
        ("America/Chicago", "2026-11-01T01", False),
        ("America/Chicago", "2026-03-08T02", False),
        ("America/Chicago", "2026-03-08T03", True),
        # St. John's, 2007-11-04: at 00:01 clocks went back to 23:01 of the day before.
        ("America/St_Johns", "2007-11-03T23", False),
        ("America/St_Johns", "2007-11-04T00", False),
        ("America/St_Johns", "2007-11-04T01", True),
    ],
)
def test_hours_with_a_change_of_clocks_are_left_to_the_decoder(
    zone: str, hour: str, is_plain: bool
) -> None:
    text = TOML.format(torch="", separator=",", columns='"seq", "time", "signal"', zone=zone,
                       window_s=2.0)  # fmt: skip
    reader = ColumnReader.make(parse_description(text))
    assert reader is not None
    block = reader.read(f"1,{hour}:00:00,PIERCE\n".encode(), ["seq", "time", "signal"])
    assert block.plain == [is_plain]
