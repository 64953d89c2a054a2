"""Trying a description on lines of the table: what they come to, and whether it works."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from shopfloor.sources.services import sample_try
from shopfloor.sources.source_page import Knowing, source_knows
from shopfloor.svg.sample_strip import SampleArc, sample_strip
from shopfloor.svg.strip import Svg
from shopfloor.wording.counts import count
from telemetry.description import parse_description
from telemetry.models import Feed
from telemetry.sample import Sample, as_json
from telemetry.store.reread_rejects import mendable

SHOWN = 25


@dataclass(frozen=True, slots=True)
class Trial:
    """`verdict` says plainly whether it works; `may_be_kept` is False where not one line of a
    sample could be read. `again` is (lines refused so far, those it would read)."""

    verdict: str
    may_be_kept: bool
    knows: Knowing
    name: str = ""
    shown: dict[str, Any] = field(default_factory=dict)
    reasons: tuple[tuple[str, int], ...] = ()
    more_arcs: int = 0
    more_rejects: int = 0
    strip: Svg | None = None
    again: tuple[int, int] | None = None


def trial(*, text: str, raw: bytes, sample_name: str, feed: Feed | None) -> Trial:
    """Stores nothing. Raises DescriptionError, and ValidationError for a sample too big."""
    knows = source_knows(parse_description(text, name="description"))
    again = None
    if feed is not None:
        counted = mendable(feed, text)
        again = counted if counted[0] else None
    if not raw:
        return Trial(_("It was tried on no lines."), True, knows, again=again)
    description, sample = sample_try(text=text, raw=raw)
    shown = as_json(sample, description)
    arcs, rejects = shown["arcs"], shown["rejects"]
    amps = [arc.amps for arc in sample.pairing.arcs[:SHOWN]]
    shown["arcs"] = [{**arc, "amps": a} for arc, a in zip(arcs[:SHOWN], amps, strict=True)]
    shown["rejects"], shown["measured"] = rejects[:SHOWN], any(amps)
    verdict, works = _verdict(sample)
    return Trial(
        verdict, works, knows, sample_name, shown,
        reasons=tuple(Counter(reject.reason for reject in sample.rejects).most_common()),
        more_arcs=max(0, len(arcs) - SHOWN),
        more_rejects=max(0, len(rejects) - SHOWN),
        strip=None if description.times_from_arrival else _strip(sample),
        again=again,
    )  # fmt: skip


def _strip(sample: Sample) -> Svg | None:
    arcs = sample.pairing.arcs
    return sample_strip(
        [SampleArc(a.torch, a.on_us, a.off_us if a.ended == "off" else None) for a in arcs]
    )


def _verdict(sample: Sample) -> tuple[str, bool]:
    """In one sentence, what is wrong first."""
    lines, refused = sample.lines, len(sample.rejects)
    all_lines = count(lines, "{n} line", "{n} lines")
    if not lines:
        return _("There is no whole line in the sample."), False
    if refused == lines:
        return _("It does not work: none of the {all_lines} could be read.").format(
            all_lines=all_lines
        ), False
    arcs = len(sample.pairing.arcs)
    burnt = count(arcs, "{n} arc", "{n} arcs") if arcs else _("no arc")
    if refused:
        return (
            _("{refused} of {all_lines} could not be read; the others hold {burnt}.").format(
                refused=refused, all_lines=all_lines, burnt=burnt
            ),
            True,
        )
    if not arcs:
        return _("Every line ({lines}) can be read, but no arc is among them.").format(
            lines=lines
        ), True
    return _("It works: {all_lines}, all read, {burnt}.").format(
        all_lines=all_lines, burnt=burnt
    ), True
