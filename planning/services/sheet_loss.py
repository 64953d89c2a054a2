"""What the shop itself bears of a sheet. Work kind "sheet", key: sheet id, payload `on`: the shift
date it was written off, ISO."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext_noop as N_

from planning.services.postings import MonthPicker, TargetPosting, post_differences
from planning.services.summaries import months_changed
from shopfloor.models import Posting, Sheet, SheetState
from shopfloor.site.queries import shift_date_of


@transaction.atomic
def sheet_loss(*, key: str, payload: dict[str, Any]) -> None:
    """A remnant written off costs the shop what the jobs were credited for it; a whole sheet what
    it was bought for. No job pays: its cost stood when it was cut. Harmless to repeat."""
    sheet = Sheet.objects.filter(pk=int(key)).first()
    if sheet is None:
        return
    own = f"sheet:{sheet.pk}:lost"
    posted = Posting.objects.filter(key__startswith=f"{own}:v")
    months = MonthPicker()
    post_differences(_wants(sheet, own, payload, posted.first()), posted, months=months)
    months_changed(months.changed)


def _wants(
    sheet: Sheet, key: str, payload: dict[str, Any], before: Posting | None
) -> list[TargetPosting]:
    if sheet.state != SheetState.WRITTEN_OFF or not sheet.cost_minor or sheet.owner_id is not None:
        return []
    said = payload.get("on")
    on = date.fromisoformat(said) if said else shift_date_of(sheet.received_at)
    return [
        TargetPosting(
            key=key,
            kind="credit" if sheet.parent_id else "material",
            amount_minor=sheet.cost_minor,
            shift_date=before.shift_date if before else on,
            evidence="entered",
            quantity=sheet.area_mm2,
            unit="mm2",
            cause=N_("written off"),
        )
    ]
