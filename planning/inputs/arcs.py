"""Intake's arcs with the run each was assigned to, joined by the arc's key."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from planning.calc.spans import Span
from planning.inputs.types import ArcIn
from shopfloor.models import ArcAssignment, Segment
from telemetry.models import Arc

CHUNK = 500
MANY = 4_000  # above it, reading a stretch of time beats asking key by key
_FIELDS = (
    "key",
    "torch",
    "on_us",
    "off_us",
    "ended",
    "pierces",
    "first_pierce_us",
    "amps",
    "volts",
)


def assigned_arcs(segments: Sequence[int], span: Span, now_us: int) -> list[ArcIn]:
    """Arcs of these segments in order of time; an arc still burning ends now. `span` is where
    most of them lie: the others, given by a person from elsewhere, are asked for by key."""
    said: dict[str, tuple[int, int | None, bool]] = {}
    for at in range(0, len(segments), CHUNK):
        rows = ArcAssignment.objects.filter(segment__in=segments[at : at + CHUNK]).values_list(
            "arc_key", "segment_id", "contour_number", "repeat"
        )
        said.update((key, (segment, contour, repeat)) for key, segment, contour, repeat in rows)
    found = []
    for key, torch, on_us, off_us, ended, pierces, pierced_us, amps, volts in _arc_rows(said, span):
        end_us = max(on_us, now_us) if off_us is None else off_us
        measured = (key, torch, on_us, end_us, ended, pierces, pierced_us, amps, volts)
        found.append(ArcIn(*measured, *said[key]))
    found.sort(key=lambda arc: (arc.on_us, arc.key))
    return found


def last_arcs(runs: Iterable[Any], span: Span) -> dict[Any, float]:
    """When the last arc of each run went out (epoch s), those of `span` that ends now."""
    whose = dict(Segment.objects.filter(run__in=list(runs)).values_list("pk", "run"))
    last: dict[Any, float] = {}
    for arc in assigned_arcs(list(whose), span, span[1]):
        run = whose[arc.segment_id]
        last[run] = max(last.get(run, 0.0), arc.off_us / 1e6)
    return last


def _arc_rows(said: dict[str, Any], span: Span) -> list[tuple[Any, ...]]:
    keys = list(said)
    rows: list[tuple[Any, ...]] = []
    if len(keys) > MANY:
        rows = _of_feeds(said, keys, span)
        there = {row[0] for row in rows}
        keys = [key for key in keys if key not in there]
    for at in range(0, len(keys), CHUNK):
        rows += Arc.objects.filter(key__in=keys[at : at + CHUNK]).values_list(*_FIELDS)
    return rows


def _of_feeds(said: dict[str, Any], keys: list[str], span: Span) -> list[tuple[Any, ...]]:
    """All arcs of the feeds concerned in a stretch of time, those of other runs dropped here."""
    feeds = {key.split("|", 1)[0] for key in keys}
    near = Arc.objects.filter(feed__name__in=feeds, on_us__gte=span[0], on_us__lt=span[1])
    rows = near.values_list(*_FIELDS)
    return [row for row in rows.order_by().iterator(chunk_size=5_000) if row[0] in said]
