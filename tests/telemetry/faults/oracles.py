"""The two questions after every fault: is all there exactly once, and does it go on?"""

from __future__ import annotations

from pathlib import Path

from telemetry.description import parse_description
from telemetry.models import Arc, Event, Feed, FeedVersion, Rollup
from telemetry.sample import as_json, decode_sample
from telemetry.selectors import feed_status
from telemetry.store.rollups import BUCKET_US
from telemetry.worker import run_once

SAME = ("lines", "events", "rejected", "duplicates", "gaps", "stray_offs", "stray_pierces")


def conserved(feed: Feed, raw: bytes) -> None:
    """What is stored is what the same bytes come to when they are decoded in one go."""
    text = FeedVersion.objects.get(feed=feed, version=feed.version).text
    description = parse_description(text)
    sample = decode_sample(description, [raw])
    expected, status = as_json(sample, description), feed_status(feed)
    assert {name: status[name] for name in SAME} == {name: expected[name] for name in SAME}
    keys = [
        bytes(key).hex() for key in Event.objects.filter(feed=feed).values_list("key", flat=True)
    ]
    assert sorted(keys) == sorted(event.key for event in sample.events.ordered())
    columns = ("torch", "on_us", "off_us", "ended", "pierces")
    arcs = sorted(Arc.objects.filter(feed=feed).values_list(*columns))
    assert arcs == sorted(
        (arc.torch, arc.on_us, arc.off_us, arc.ended, arc.pierces) for arc in sample.pairing.arcs
    )
    burning_us = sum(off - on for _, on, off, _, _ in arcs if off is not None)
    rollups = Rollup.objects.filter(feed=feed)
    assert sum(row.burn_us for row in rollups) == burning_us
    assert sum(row.arcs for row in rollups) == len(arcs)
    assert all(row.bucket_us % BUCKET_US == 0 for row in rollups)


def alive(feed: Feed, path: Path, line: str) -> None:
    """A line written now is stored, and nothing else happens."""
    before = feed_status(feed)["events"]
    with path.open("a") as file:
        file.write(line)
    run_once([feed])
    assert feed_status(feed)["events"] == before + 1
    conserved(feed, path.read_bytes())
