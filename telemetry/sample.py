"""A whole file decoded in memory: what `readfeed` shows. Pure but for reading the bytes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from telemetry.decode import Decoder
from telemetry.description import Description
from telemetry.events import Batch, Event, Gap, Reject, order_of
from telemetry.pairing import Arc, Pairing, pair

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(slots=True)
class Sample:
    """What a file came to. `unfinished` is a last line without its end that does not decode."""

    lines: int = 0
    events: list[Event] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    duplicates: int = 0
    pairing: Pairing = field(default_factory=lambda: Pairing([], [], []))
    unfinished: bytes = b""


def decode_sample(description: Description, blocks: Iterable[bytes]) -> Sample:
    """Decode a finished input. Times from arrival are unknown here and all stand at 0."""
    if description.times_from_arrival:
        # Without times no level can be said to have stood for so long.
        line = replace(description.line, debounce_s=0.0)
        description = replace(description, line=line)
    decoder = Decoder(description)
    sample = Sample()
    position = 0
    keys: set[str] = set()
    for block in blocks:
        batch = decoder.feed_block(block, position=position, arrival_us=0, source="sample")
        position += len(block)
        _collect(sample, batch, keys)
    _collect(sample, decoder.flush(fragment="take"), keys)
    sample.unfinished = decoder.fragment
    sample.events.sort(key=order_of)
    sample.pairing = pair(sample.events, knows_pierces=description.knows.pierces)
    return sample


def _collect(sample: Sample, batch: Batch, keys: set[str]) -> None:
    sample.lines += batch.lines
    sample.rejects += batch.rejects
    sample.gaps += batch.gaps
    sample.duplicates += len(batch.duplicates)
    for event in batch.events + batch.late:
        if event.key in keys:
            sample.duplicates += 1
        else:
            keys.add(event.key)
            sample.events.append(event)


def as_json(sample: Sample, description: Description) -> dict[str, Any]:
    """The sample as plain values, with the keys that scripts rely on."""
    timed = not description.times_from_arrival
    unfinished = sample.unfinished[:200].decode("utf-8", "backslashreplace")
    return {
        "lines": sample.lines,
        "events": len(sample.events),
        "rejected": len(sample.rejects),
        "duplicates": sample.duplicates,
        "gaps": len(sample.gaps),
        "stray_offs": len(sample.pairing.stray_offs),
        "stray_pierces": len(sample.pairing.stray_pierces),
        "arcs": [_arc(arc, description.table, timed) for arc in sample.pairing.arcs],
        "rejects": [
            {"line": r.line, "reason": r.reason, "text": r.text, "message": r.message}
            for r in sample.rejects
        ],
        "unfinished": unfinished or None,
    }


def _arc(arc: Arc, table: str, timed: bool) -> dict[str, Any]:
    off_us = arc.off_us
    known = timed and off_us is not None
    return {
        "table": table,
        "torch": arc.torch,
        "on": _iso(arc.on_us) if timed else None,
        "off": _iso(off_us) if known and off_us is not None else None,
        "seconds": (off_us - arc.on_us) / 1e6 if known and off_us is not None else None,
        "pierces": arc.pierces,
        "ended": arc.ended,
    }


def _iso(time_us: int) -> str:
    moment = _EPOCH + timedelta(microseconds=time_us)
    return moment.isoformat().replace("+00:00", "Z")
