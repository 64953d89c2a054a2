"""All figures again, in bulk: after history was loaded, or rebuilt from the journal."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from planning.services.line_figures import lines_write
from planning.services.lives import IN_USE, lives_write
from planning.services.piece_figures import outlooks_write, pieces_write
from planning.services.run_figures import runs_write
from shopfloor.models import BenchEntry, Piece, Run

AT_ONCE = 400


def recompute_all(*, since: datetime | None = None, now: datetime | None = None) -> dict[str, int]:
    """Variance, days, uses, outlooks and postings of every run opened since (all: None), of all
    pieces and of all bench entries. Harmless to repeat; gives how many of each it did."""
    now = now or timezone.now()
    runs = Run.objects.all() if since is None else Run.objects.filter(opened_at__gte=since)
    ids = list(runs.order_by("opened_at", "pk").values_list("pk", flat=True))
    pieces: set[int] = set(Piece.objects.values_list("pk", flat=True)) if since is None else set()
    for at in range(0, len(ids), AT_ONCE):
        runs_write(Run.objects.filter(pk__in=ids[at : at + AT_ONCE]), now=now, pieces=pieces)
    pieces_write(pieces, now=now)
    _learn(pieces, now)
    entries = BenchEntry.objects.all()
    if since is not None:
        entries = entries.filter(at__gte=since)
    lines = set(entries.values_list("line_id", flat=True))
    lines_write(lines)
    return {"runs": len(ids), "pieces": len(pieces), "lines": len(lines)}


def _learn(pieces: set[int], now: datetime) -> None:
    """What these pieces teach, and the outlooks that rest on it."""
    parts = set(Piece.objects.filter(pk__in=pieces).values_list("part", flat=True))
    lives_write(parts)
    live = Piece.objects.filter(part__in=parts, state__in=IN_USE, outlook__isnull=False)
    outlooks_write(live.values_list("pk", flat=True), now=now)
