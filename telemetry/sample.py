"""A whole file decoded in memory: what `readfeed` shows. Pure but for reading the bytes."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from telemetry.arcs.pairing import Arc, Pairing, pair
from telemetry.decode.columnar import ColumnarDecoder
from telemetry.decode.sample_store import SampleStore
from telemetry.description import Description
from telemetry.events import Batch, Gap, Reject

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(slots=True)
class Sample:
    """What a file came to. `unfinished` is a last line without its end that does not decode."""

    lines: int = 0
    events: SampleStore = field(default_factory=SampleStore)
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
    decoder = ColumnarDecoder(description)
    sample = Sample()
    position = 0
    for block in blocks:
        batch = decoder.feed_block(block, position=position, arrival_us=0, source="sample")
        position += len(block)
        _collect(sample, batch)
    _collect(sample, decoder.flush(fragment="take"))
    sample.unfinished = decoder.fragment
    sample.duplicates += sample.events.repeated
    sample.pairing = pair(sample.events.ordered(), knows_pierces=description.knows.pierces)
    return sample


def _collect(sample: Sample, batch: Batch) -> None:
    sample.lines += batch.lines
    sample.rejects += batch.rejects
    sample.gaps += batch.gaps
    sample.duplicates += len(batch.duplicates)
    for run in batch.runs:
        for event in run.events:
            sample.events.add(event)
        if run.lines is not None:
            sample.events.add_all(run.lines, run.session)
    for event in batch.late:
        sample.events.add(event)


def json_pieces(sample: Sample, description: Description) -> Iterator[str]:
    """The sample as JSON, an arc at a time."""
    yield json.dumps(_but_for_arcs(sample, description))[:-1] + ', "arcs": ['
    timed = not description.times_from_arrival
    between = ""
    for arc in sample.pairing.arcs:
        yield between + json.dumps(_arc(arc, description.table, timed))
        between = ", "
    yield "]}"


def as_json(sample: Sample, description: Description) -> dict[str, Any]:
    """The sample as plain values, with the keys that scripts rely on."""
    timed = not description.times_from_arrival
    arcs = [_arc(arc, description.table, timed) for arc in sample.pairing.arcs]
    return {**_but_for_arcs(sample, description), "arcs": arcs}


def _but_for_arcs(sample: Sample, description: Description) -> dict[str, Any]:
    unfinished = sample.unfinished[:200].decode("utf-8", "backslashreplace")
    return {
        "lines": sample.lines,
        "events": len(sample.events),
        "rejected": len(sample.rejects),
        "duplicates": sample.duplicates,
        "gaps": len(sample.gaps),
        "stray_offs": len(sample.pairing.stray_offs),
        "stray_pierces": len(sample.pairing.stray_pierces),
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
