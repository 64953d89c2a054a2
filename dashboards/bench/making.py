"""`python -m dashboards.bench.making WHAT OPTIONS`: makes one shop in the configured database, in
a process, data folder and database of its own."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import django
from django.conf import settings
from django.core.management import call_command

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
    if what == "small":
        small(**json.loads(options))
    else:
        grown(**json.loads(options))


if __name__ == "__main__":
    main(*sys.argv[1:])
