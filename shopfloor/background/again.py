"""Trying background work again that was set aside."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from shopfloor.background.request import request_work
from shopfloor.models import Work


@transaction.atomic
def work_retry(*, work: Work) -> None:
    """Wants the same work anew and lets the failed row go; nothing where it no longer failed."""
    gone, _ = Work.objects.filter(pk=work.pk, state="failed").delete()
    if gone:
        request_work(kind=work.kind, key=work.key, payload=work.payload)


@transaction.atomic
def work_dismiss(*, work: Work) -> None:
    """Lets a failed row go without trying again; kept as done, so that it can be looked up."""
    Work.objects.filter(pk=work.pk, state="failed").update(state="done", done_at=timezone.now())
