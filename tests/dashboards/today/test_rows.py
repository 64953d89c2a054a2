"""What stands beside a table's strip."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from dashboards.today.rows import _silent
from shopfloor.svg.strip.types import StripTable

HOUR_US = 3_600_000_000


@pytest.mark.parametrize(
    ("since", "said"),
    [
        (None, ""),
        (
            9 * HOUR_US,
            "No lines since 04:00, 1 h 00 min ago.",
        ),  # 09:00 UTC is 04:00 in Chicago's summer
        # The clock was set back after lines were stamped by it: no age can be told.
        (11 * HOUR_US, "No lines since 06:00, by a clock that was ahead of this one."),
    ],
)
def test_a_silent_source_is_told_with_its_age_where_there_is_one(since, said):
    summer = 150 * 24 * HOUR_US  # 31 May 1970
    table = StripTable(
        "North", summer, summer + 24 * HOUR_US, summer + 10 * HOUR_US, ZoneInfo("America/Chicago"),
        silent_since_us=None if since is None else summer + since,
    )  # fmt: skip
    assert _silent(table) == said
