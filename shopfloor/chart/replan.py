"""Asks for plans anew where what they were made from has changed."""

from __future__ import annotations

from shopfloor.background.plans import request_plan
from shopfloor.models import Nest


def plan_again(materials: set[int]) -> None:
    for nest in Nest.objects.filter(material__in=materials, withdrawn_at=None):
        request_plan(nest=nest)
