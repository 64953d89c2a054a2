"""What the shop's runs teach, worked out in the background and kept. Work kind "factors", key:
"learn", or "propose" where the factors that are new are to be proposed as well."""

from __future__ import annotations

from dataclasses import astuple
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from planning.calc.factors import NotEnoughData, back_test
from planning.services.factors import FittedFactors, factors_propose, learn
from shopfloor.background.request import request_work
from shopfloor.models import Summary

KIND = "factors"
PROPOSE = "propose"
EVERY = timedelta(hours=12)


def factors_write(*, key: str, payload: dict[str, Any]) -> None:
    """Fits the shop, tests it against its own months, and keeps both. Harmless to repeat."""
    now = timezone.now()
    learnt = learn(now=now)
    body = factors_body(learnt)
    with transaction.atomic():
        Summary.objects.update_or_create(
            kind=KIND, key="", defaults={"body": body, "computed_at": now}
        )
        if key == PROPOSE and not isinstance(learnt.fit, NotEnoughData):
            factors_propose(now=now, learnt=learnt)


def factors_body(learnt: FittedFactors) -> dict[str, Any]:
    """What the page shows of it, as JSON values."""
    fitted = None if isinstance(learnt.fit, NotEnoughData) else learnt.fit
    runs = [run for own in learnt.runs.values() for run in own]
    back = back_test([(run.month, run.cell, run.log_moving) for run in runs])
    tested = None if isinstance(back, NotEnoughData) else back
    cells = []
    for cell, own in sorted(learnt.runs.items()):
        before, after = tested.by_cell.get(cell, (None, None)) if tested else (None, None)
        cells.append(
            {
                "cell": cell,
                "runs": len(own),
                "learnt": astuple(fitted.cell(cell)) if fitted else None,
                "next_run": fitted.next_run(cell) if fitted else None,
                "before": astuple(before) if before else None,
                "after": astuple(after) if after else None,
            }
        )
    return {
        "runs": len(runs),
        "left_out": learnt.left_out,
        "not_enough": astuple(learnt.fit) if isinstance(learnt.fit, NotEnoughData) else None,
        "shop": fitted.shop if fitted else None,
        "spread": fitted.spread if fitted else None,
        "between": fitted.between if fitted else None,
        "back": {
            "before": astuple(tested.before),
            "after": astuple(tested.after),
            "inside": tested.inside,
            "months": tested.months,
        }
        if tested
        else None,
        "cells": cells,
    }


def factors_want(*, propose: bool) -> None:
    """Asks for them to be worked out."""
    request_work(kind=KIND, key=PROPOSE if propose else "learn")


def factors_freshen(*, now: datetime) -> bool:
    """Asks for them where they are not kept yet or have grown old; whether it did."""
    row = Summary.objects.filter(kind=KIND, key="").only("computed_at").first()
    if row is not None and row.computed_at is not None and now - row.computed_at < EVERY:
        return False
    factors_want(propose=False)
    return True
