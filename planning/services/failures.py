"""Failures against what lives led to expect, worked out in the background and kept. Work kind
"failures", key "all". Asked for when something was learned of a part, and twice a day."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from planning.calc.life.failures import WEEK_US, counted_up, expected, looks
from planning.inputs.failures import KIND, at_risk
from shopfloor.background.request import request_work
from shopfloor.models import Summary
from shopfloor.runs.arcs import from_us, to_us

KEY = "all"
WEEKS = 13
LEVEL = 0.90  # of the range beside what is expected
EVERY = timedelta(hours=12)


def failures_write(*, key: str, payload: dict[str, Any]) -> None:
    """Harmless to repeat."""
    now = timezone.now()
    Summary.objects.update_or_create(
        kind=KIND, key="", defaults={"body": failures_body(now), "computed_at": now}
    )


def failures_want() -> None:
    request_work(kind=KIND, key=KEY)


def failures_freshen(*, now: datetime) -> bool:
    """Asks for them where they are not kept yet or have grown old; whether it did."""
    row = Summary.objects.filter(kind=KIND, key="").only("computed_at").first()
    if row is not None and row.computed_at is not None and now - row.computed_at < EVERY:
        return False
    failures_want()
    return True


def failures_body(now: datetime) -> dict[str, Any]:
    """What is kept, as JSON values. `edges_us` bound the weeks, oldest first; `parts` are rows of
    part, set, and for each week failures expected and how sure that is (None: unknown); `ended`
    rows of piece, part, set and when, of weeks in which their part's life is known (`unsaid`: how
    many others there were); `counted_up` and `looks` what they come to."""
    last = to_us(now)
    edges = [last - WEEK_US * back for back in range(WEEKS, -1, -1)]
    found = at_risk(from_us(edges[0]), now)
    told = {(part.group, part.part): expected(part, edges) for part in found.parts}
    ended, unsaid = [], 0
    for one in found.ended:
        if not edges[0] <= one.at_us < last:
            continue
        ago = (last - 1 - one.at_us) // WEEK_US
        if told[one.group, one.part][WEEKS - 1 - ago].mean is None:
            unsaid += 1
        else:
            ended.append((one, ago))
    seen = [(one.group, ago) for one, ago in ended]
    return {
        "edges_us": edges,
        "parts": [
            [part, group, [[week.mean, week.sd] for week in weeks]]
            for (group, part), weeks in sorted(told.items())
        ],
        "ended": [[one.piece, one.part, one.group, one.at_us] for one, _ago in ended],
        "unknown": found.unknown,
        "unsaid": unsaid,
        "counted_up": counted_up(told, LEVEL),
        "looks": [asdict(look) for look in looks(told, seen)],
    }
