"""A feed on a growing file, and what is stored of it, for the tests of the store."""

from __future__ import annotations

from pathlib import Path

from telemetry.description import parse_description
from telemetry.models import Arc, Event, Gap, Reject, Rollup, Stray
from telemetry.sample import as_json, decode_sample
from telemetry.services import feed_register
from telemetry.worker import run_once
from telemetry.worker.backfill import backfill
from tests.telemetry.table_lines import feed_text

QUARTER_US = 900_000_000


def stored_arcs() -> set[tuple]:
    return set(Arc.objects.values_list("torch", "on_us", "off_us", "ended", "pierces", "program"))


def everything() -> dict[str, set]:
    """All that a rebuild must give again, to the last column but the instant of change."""
    arcs = [f.attname for f in Arc._meta.fields if f.name not in ("id", "changed_us")]
    events = [f.attname for f in Event._meta.fields if f.name != "pk"]
    rejects = [f.attname for f in Reject._meta.fields if f.name not in ("id", "raw")]
    gaps = [f.attname for f in Gap._meta.fields if f.name != "id"]
    return {
        "arcs": set(Arc.objects.values_list(*arcs)),
        "events": {
            tuple(bytes(v) if isinstance(v, memoryview) else v for v in row)
            for row in Event.objects.values_list(*events)
        },
        "rejects": set(Reject.objects.values_list(*rejects)),
        "gaps": set(Gap.objects.values_list(*gaps)),
        "strays": set(Stray.objects.values_list("torch", "at_us", "kind", "event_key")),
        "rollups": set(
            Rollup.objects.values_list("torch", "bucket_us", "burn_us", "arcs", "pierces")
        ),
    }


def slow_rollups() -> set[tuple]:
    """Each bucket of each torch summed on its own from all arcs."""
    arcs = list(Arc.objects.all())
    if not arcs:
        return set()
    first = min(arc.on_us for arc in arcs) // QUARTER_US
    last = max(arc.off_us or arc.on_us for arc in arcs) // QUARTER_US
    rows = set()
    for torch in {arc.torch for arc in arcs}:
        for n in range(first, last + 1):
            start, end = n * QUARTER_US, (n + 1) * QUARTER_US
            mine = [arc for arc in arcs if arc.torch == torch]
            burn = sum(max(0, min(a.off_us or 0, end) - max(a.on_us, start)) for a in mine)
            begun = [arc for arc in mine if start <= arc.on_us < end]
            if burn or begun:
                rows.add((torch, start, burn, len(begun), sum(a.pierces for a in begun)))
    return rows


class Table:
    """One feed on a growing file, and slices of it read in by hand."""

    def __init__(self, folder: Path, *, numbered: bool, window_s: float = 2.0) -> None:
        self.folder, self.numbered = folder, numbered
        self.live = folder / "live.csv"
        self.live.touch()
        text = feed_text(self.live, numbered=numbered, window_s=window_s)
        self.feed = feed_register(name="n", text=text, by="test")
        self.slices = 0

    def text(self, lines) -> str:
        return "".join(line.text(numbered=self.numbered) + "\n" for line in lines)

    def hear(self, lines) -> None:
        with self.live.open("a") as file:
            file.write(self.text(lines))
        run_once([self.feed])

    def read_in(self, lines):
        self.slices += 1
        path = self.folder / f"slice{self.slices}.csv"
        path.write_text(self.text(lines))
        return backfill(self.feed, path, lambda done, of: None)

    def sample(self, lines) -> dict:
        description = parse_description(feed_text("x", numbered=self.numbered))
        return as_json(decode_sample(description, [self.text(lines).encode()]), description)
