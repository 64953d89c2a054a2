"""The first piece of somebody new: who measured it, and that a second person has to."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone

from shopfloor.models import Check, Run
from shopfloor.selectors.checks import countersigns_wanted


@dataclass(frozen=True, slots=True)
class Signature:
    check: int
    by: int
    words: str


def signature_wanted(run: Run) -> Signature | None:
    check = countersigns_wanted(run).first()
    return None if check is None else Signature(check.pk, check.by_id, check_words(check))


def check_words(check: Check) -> str:
    """Milo Brandt measured u 0.30 mm (range 2) at 14:05."""
    found = "called it good" if check.u_mm is None else f"measured u {check.u_mm:.2f} mm"
    reached = f" (range {check.u_range})" if check.u_range else ""
    return f"{check.by.shown_name} {found}{reached} at {timezone.localtime(check.at):%H:%M}."
