"""Signal sources: registering one makes the table it listens to, where the shop has none of it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shopfloor.models import Table, Torch
from shopfloor.runs.arcs import to_us
from shopfloor.sources.queries import ESTIMATE_SPREAD_US
from telemetry.description import Description, parse_description
from telemetry.errors import DescriptionError
from telemetry.models import ClockOffset, Feed
from telemetry.sample import Sample, decode_sample
from telemetry.selectors import clock_estimate
from telemetry.services import (
    clock_correct,
    feed_register,
    feed_reread,
    push_token_issue,
)
from telemetry.store.reread_rejects import mendable

MAX_SAMPLE_BYTES = 5 * 1024 * 1024
_CODE = re.compile(r"[A-Za-z0-9_-]{1,40}")
_BLOCK = 65_536


@dataclass(frozen=True, slots=True)
class Registered:
    """What registering came to."""

    feed: Feed
    table: Table
    new_table: bool
    changed: bool


@transaction.atomic
def source_register(*, name: str, text: str, by: str = "", source_name: str = "") -> Registered:
    """Registers or changes a source, and makes its table and torch where they are missing.
    Raises DescriptionError as `FILE:LINE: what is wrong`."""
    shown = source_name or name
    description = parse_description(text, name=shown)
    _codes_fit(description, text, shown)
    before = Feed.objects.filter(name=name).values_list("version", flat=True).first()
    try:
        feed = feed_register(name=name, text=text, by=by, source_name=shown)
    except ValidationError as problem:
        raise DescriptionError(f"{shown}:1: {'; '.join(problem.messages)}") from problem
    table, made = _table(description.table, f"{shown}:{_line_of('table', text)}")
    if description.torch is not None or not table.torches.exists():
        Torch.objects.get_or_create(table=table, code=description.torch or "1")
    return Registered(feed, table, made, before != feed.version)


def clock_put_right(*, feed: Feed, at: datetime | None, by: str, reason: str) -> ClockOffset:
    """Adds what the clock is off by now, as estimated from arrival, to stamps from the moment
    `at` on (None: all of history). Raises ValidationError where no estimate can be made."""
    estimate = clock_estimate(feed)
    if estimate is None or estimate.spread_us > ESTIMATE_SPREAD_US:
        raise ValidationError(_("How far its clock is off is unknown now."))
    standing = feed.clock_offsets.get(version=feed.clock_version).offset_us
    offset_us = standing + estimate.median_us
    # `at` is by the shop's clock; stamps are as the source wrote them, and a clock that went back
    # wrote some of them twice.
    at_us = None if at is None else to_us(at)
    return clock_correct(
        feed=feed, offset_us=offset_us, from_us=None if at_us is None else at_us - offset_us,
        heard_from_us=at_us, by=by, reason=reason,
    )  # fmt: skip


def source_reread(*, feed: Feed, by: str) -> tuple[int, int]:
    """Has refused lines read again by the description in force: (looked at, can be read). Where
    none can, nothing is done. Intake does the reading, a rebuild does the same."""
    text = feed.versions.get(version=feed.version).text
    looked, readable = mendable(feed, text)
    if readable:
        feed_reread(feed=feed, by=by)
    return looked, readable


def source_token_issue(*, feed: Feed, by: str) -> str:
    """A collector's token for a pushed source, to be shown once. Raises DescriptionError."""
    return push_token_issue(feed=feed, by=by)


def _named(code: str) -> str:
    return code.replace("-", " ").replace("_", " ").strip().capitalize() or code


def _codes_fit(description: Description, text: str, shown: str) -> None:
    """A table's code stands in addresses and a torch's on labels, so both are kept plain."""
    if not _CODE.fullmatch(description.table):
        line = _line_of("table", text)
        raise DescriptionError(
            _(
                "{shown}:{line}: table: {table!r} is not a table's code, allowed: up to "
                "40 letters, digits, '-' and '_'"
            ).format(shown=shown, line=line, table=description.table)
        )
    if description.torch is not None and len(description.torch) > 20:
        line = _line_of("torch", text)
        raise DescriptionError(
            _("{shown}:{line}: torch: longer than 20 letters").format(shown=shown, line=line)
        )


def _table(code: str, where: str) -> tuple[Table, bool]:
    """The table, and whether it was made. Raises DescriptionError at `where`."""
    table = Table.objects.filter(code=code).first()
    if table is not None:
        return table, False
    table = Table(code=code, name=_named(code))
    try:
        table.full_clean(exclude=["dialect"])
    except ValidationError as problem:
        raise DescriptionError(
            _("{where}: table: {messages}").format(where=where, messages=" ".join(problem.messages))
        ) from problem
    table.save()
    return table, True


def _line_of(key: str, text: str) -> int:
    lines = text.splitlines()
    return next((n for n, line in enumerate(lines, 1) if re.match(rf"\s*{key}\s*=", line)), 1)


def sample_try(*, text: str, raw: bytes) -> tuple[Description, Sample]:
    """Decodes a sample under a description; stores nothing. Raises DescriptionError for the
    description and ValidationError for a sample that is too big."""
    if len(raw) > MAX_SAMPLE_BYTES:
        raise ValidationError(
            _("The sample is over {max_sample_bytes} MB.").format(
                max_sample_bytes=MAX_SAMPLE_BYTES // 1024 // 1024
            )
        )
    description = parse_description(text, name="description")
    starts = range(0, len(raw), _BLOCK)
    return description, decode_sample(description, (raw[at : at + _BLOCK] for at in starts))
