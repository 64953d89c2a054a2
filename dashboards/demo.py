"""Makes the demo ready: records, ninety days of lines through intake, matching, plans, costs."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime
from random import Random

from django.conf import settings
from django.core.management import call_command

from dashboards.launch import StartError
from planning.services.example_quotes import example_quotes
from planning.services.failures import failures_freshen
from planning.services.history import figures_of_history, plan_all
from shopfloor.audit.actor import acting
from shopfloor.celery import app as celery_app
from shopfloor.demo import cast, load
from shopfloor.demo.odds import late_count
from shopfloor.demo.promises import keep_plans, keep_prices
from shopfloor.library.recognise import parts_missing
from shopfloor.runs.follow import follow_arcs
from telemetry.services import feed_register


def prepare(*, say: Callable[[str], None], begin: datetime | None = None) -> list[str]:
    """Loads the invented shop if the data folder is empty, or goes on where a load was cut short.
    Its work began at `begin`, ninety days ago unless told. Returns the lines that tell how to sign
    in. Raises `StartError` where the folder holds a real shop: the example never mixes with one.
    """
    here = load.shop_here()
    if here == "own":
        raise StartError(
            f"{settings.DATA_DIR}: holds a shop of your own; give the demo another --data folder"
        )
    if not load.ready_mark().exists():
        _load(say, anew=here == "none", begin=begin)
    lines = [f"Example shop: {cast.SHOP}. Its charts are example values, not for cutting."]
    lines += [
        f"  {person.role:<13} {person.username} / {cast.PASSWORD}"
        # A badge opens a terminal, where only some of them work.
        + (f"   badge {person.badge} PIN {person.pin}" if person.role in cast.AT_TERMINALS else "")
        for person in cast.PEOPLE
    ]
    return lines


def _load(say: Callable[[str], None], *, anew: bool, begin: datetime | None) -> None:
    """Every step after the first can be repeated."""
    begun = time.monotonic()

    def step(text: str) -> None:
        say(f"[{time.monotonic() - begun:5.1f} s] {text}")

    now = datetime.now(UTC)
    step("inventing a shop and its past" if anew else "going on with the shop")
    loaded = load.load(now=now, begin=begin) if anew else load.resume()
    with acting("command start", why="the invented shop"):
        step("planning its nests")
        plan_all(now=now)
        keep_plans()
        keep_prices(Random(load.SEED))  # noqa: S311 - a demo, not a secret
        for code, path in loaded.feeds.items():
            load.port_named(code)
            feed_register(name=code, text=load.feed_text(code), by="command start")
            step(f"taking in the lines of {code}")
            call_command("backfill", code, str(path), verbosity=0)
        step("tying arcs to runs")
        while follow_arcs(limit=20_000):
            pass
        step("working out times, wear and costs; closing months")
        figures_of_history(closed_by="ann", now=now)
        example_quotes(by="ines", now=now, random=Random(load.SEED + 2))  # noqa: S311 - a demo
        late_count(now=now)
        celery_app.control.purge()  # what was wanted on the way is done
        parts_missing(most=1_000)
        failures_freshen(now=now)
    load.ready_mark().touch()
    step(f"ready: {loaded.lines:,} lines")
