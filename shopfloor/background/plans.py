"""Asking for a nest's plan."""

from __future__ import annotations

from shopfloor.background.request import request_work
from shopfloor.models import (
    Nest,
)


def request_plan(*, nest: Nest) -> None:
    """Asks for the plan of a nest's newest revision."""
    revision = nest.revisions.order_by("-revision").values_list("pk", flat=True).first()
    if revision is not None:
        request_work(kind="nest", key=str(revision))
