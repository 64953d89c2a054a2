"""The pieces a grown shop is made with; the whole of one is in tests/system/test_bench_shop.py."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from planning.bench.bigshop.clock import Back
from planning.bench.bigshop.copies import Copy
from planning.bench.bigshop.sorts import BY_TABLE, BY_TIME, MADE_HERE, ONCE, unsorted

CHICAGO = ZoneInfo("America/Chicago")
RUN = uuid.UUID("953623bd-908d-421e-9ef1-9cfb3f08125a")


def copy_of(n: int, across: int = 0, days: int = 0) -> Copy:
    steps = {"shopfloor.JobLine": 1000, "shopfloor.Piece": 50, "shopfloor.BenchEntry": 10}
    tables = frozenset({"north"})
    return Copy(n, across, Back(days, CHICAGO), steps, tables, frozenset({4}))


def test_a_shift_begins_at_the_same_wall_time_on_the_other_side_of_a_change_of_clocks():
    # 30 March 2026, 06:00 in Chicago is summer time (-5 h); six weeks before it is winter (-6 h).
    back = Back(42, CHICAGO)
    moved = back.at(datetime(2026, 3, 30, 11, 0, 0, 7, tzinfo=UTC))
    assert moved == datetime(2026, 2, 16, 12, 0, 0, 7, tzinfo=UTC)
    assert back.day(date(2026, 3, 30)) == date(2026, 2, 16)


def test_microseconds_and_moments_move_alike():
    back, at = Back(7, CHICAGO), datetime(2026, 6, 10, 3, 14, 15, 926535, tzinfo=UTC)
    us = round((at - datetime(1970, 1, 1, tzinfo=UTC)) / timedelta(microseconds=1))
    week_us = 7 * 86_400_000_000
    assert back.us(us) == us - week_us
    assert back.at(at) == at - timedelta(days=7)


def test_nothing_moves_in_the_newest_copy():
    at = datetime(2026, 6, 10, tzinfo=UTC)
    assert Back(0, CHICAGO).at(at) is at
    assert Back(0, CHICAGO).us(5) == 5


def test_order_numbers_keep_their_length_and_never_meet():
    # 2101 + 400 x (20 + n)
    assert copy_of(0).numbered("K-2101-1.nc") == "K-10101-1.nc"
    assert copy_of(3).numbered("K-2101") == "K-11301"


def test_a_postings_key_names_the_copys_own_rows():
    copy = copy_of(3)
    moved = uuid.UUID(int=RUN.int ^ 3)
    assert copy.posting_key(f"run:{RUN}:labour:4::v1") == f"run:{moved}:labour:3004::v1"
    assert copy.posting_key(f"run:{RUN}:gas:shop::v2") == f"run:{moved}:gas:shop::v2"
    assert copy.posting_key(f"wear:7:{RUN}:4:v1") == f"wear:157:{moved}:3004:v1"
    assert copy.posting_key("wear:7:rest:v1") == "wear:157:rest:v1"
    assert copy.posting_key("bench:2:v1") == "bench:32:v1"
    with pytest.raises(ValueError, match="sheet:1"):
        copy.posting_key("sheet:1:lost:v1")


def test_an_arc_is_of_the_copys_table_and_time():
    line = "65e26c47038a85a10000000000000002"
    assert copy_of(1, across=1).arc_key(f"north|1|{line}") == f"north-2|1|{line}"
    moved = int(line, 16) - (7 * 86_400_000_000 << 76)
    assert copy_of(1, days=7).arc_key(f"north|1|{line}") == f"north|1|{moved:032x}"


def test_every_kind_of_row_is_said_once_to_be_copied_or_not():
    assert unsorted() == []
    listed = [*BY_TABLE, *BY_TIME, *MADE_HERE, *ONCE]
    assert len(listed) == len(set(listed))
