"""`python -m dashboards.bench.making WHAT OPTIONS`: makes one shop in the configured database, or
brings one made before up to date, in a process, data folder and database of its own."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import django
from django.conf import settings
from django.core.management import call_command
from django.db import connection

from shopfloor.background.statistics import statistics_update

NOW = "bench-now"  # a file that holds when the small shop's present was


def small(*, days: int) -> None:
    """Two tables and their last `days`, from the first midnight after the same hour of the first
    day, so that copies set `days` apart do not overlap."""
    from dashboards.demo import prepare
    from planning.bench.bigshop.leavings import leave
    from shopfloor.demo import cast

    now = datetime.now(UTC)
    local = now.astimezone(ZoneInfo(cast.demo_zone(now)))
    begin = (local - timedelta(days=days - 1)).replace(hour=0, minute=0, second=0, microsecond=0)
    prepare(say=say, begin=begin)
    leave(now=now)
    (settings.DATA_DIR / NOW).write_text(now.isoformat())


def grown(*, small: str, **size: int) -> None:
    from planning.bench.bigshop.grow import grow
    from planning.bench.bigshop.size import Size

    now = datetime.fromisoformat((Path(small) / NOW).read_text())
    grow(Path(small) / "kerfbook.sqlite3", Size(**size), now=now, say=say)


def say(text: str) -> None:
    sys.stderr.write(f"{text}\n")


def main(what: str, options: str) -> None:
    django.setup()
    call_command("migrate", verbosity=0, interactive=False)
    made: dict[str, Callable[..., None]] = {
        "small": small,
        "grown": grown,
        "migrated": lambda: None,
    }
    made[what](**json.loads(options))
    count_anew()


def count_anew() -> None:
    """The planner's statistics, as the nightly task and PostgreSQL itself have made them in a shop
    of that age: what a migration leaves behind, or a table of before it was filled, gave pages
    plans no shop has."""
    if connection.vendor == "sqlite":
        statistics_update()
    else:
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


if __name__ == "__main__":
    main(*sys.argv[1:])
