"""What the services work out of a grown shop's past: what was ended in it, and its months."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Max

from planning.bench.bigshop.copies import Copy
from planning.services.months import month_close
from planning.services.piece_figures import pieces_write
from planning.services.postings import next_month
from planning.services.run_figures import runs_write
from planning.services.sheet_loss import sheet_loss
from planning.services.summaries import month_write
from shopfloor.models import Month, Piece, Run, Sheet, SheetState, User, Watermark, Work
from shopfloor.site.queries import shift_date_of, shop_zone
from telemetry.models import Arc


def work_out(copies: Sequence[Copy], ended: Sequence[uuid.UUID], *, now: datetime) -> None:
    """Runs, pieces and remnants of older copies that were ended there."""
    pieces: set[int] = set()
    old = [copy.uuid(run) for copy in copies if copy.old for run in ended]
    for at in range(0, len(old), 200):
        runs_write(Run.objects.filter(pk__in=old[at : at + 200]), now=now, pieces=pieces)
    pieces |= set(Piece.objects.filter(state="retired").values_list("pk", flat=True))
    pieces_write(pieces, now=now)
    lost = Sheet.objects.filter(state=SheetState.WRITTEN_OFF)
    for pk, received_at in lost.values_list("pk", "received_at"):
        on = shift_date_of(received_at + timedelta(days=30))
        sheet_loss(key=str(pk), payload={"on": min(on, shift_date_of(now)).isoformat()})
    Work.objects.filter(state="waiting").delete()


def close_months(*, now: datetime, say: Callable[[str], None]) -> None:
    """Every month before this one, on the morning after it ended; the open one is kept as it is."""
    owner = User.objects.filter(role="owner").order_by("pk")[0]
    zone = ZoneInfo(shop_zone())
    for month in Month.objects.filter(first_day__lt=shift_date_of(now).replace(day=1)):
        after = next_month(month.first_day) + timedelta(days=1)
        month_close(first_day=month.first_day, by=owner, now=datetime.combine(after, time(8), zone))
        say(f"closed {month.first_day:%Y-%m}")
    for first_day in Month.objects.filter(closed_at=None).values_list("first_day", flat=True):
        month_write(key=first_day.isoformat(), payload={})


def follow_no_more() -> None:
    """All arcs have been followed."""
    most = Arc.objects.aggregate(at=Max("changed_us"), pk=Max("pk"))
    Watermark.objects.update(changed_us=most["at"] or 0, row_id=most["pk"] or 0)
