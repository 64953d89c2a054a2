"""Signal sources: registering one makes the table it listens to, where the shop has none of it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction

from shopfloor.models import Table, Torch
from telemetry.description import Description, parse_description
from telemetry.errors import DescriptionError
from telemetry.models import Feed
from telemetry.sample import Sample, decode_sample
from telemetry.services import feed_register

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
    table, made = Table.objects.get_or_create(
        code=description.table, defaults={"name": _named(description.table), "arc_feed": name}
    )
    if description.torch is not None or not table.torches.exists():
        Torch.objects.get_or_create(table=table, code=description.torch or "1")
    if not table.arc_feed:
        table.arc_feed = name
        table.save(update_fields=["arc_feed"])
    return Registered(feed, table, made, before != feed.version)


def _named(code: str) -> str:
    return code.replace("-", " ").replace("_", " ").strip().capitalize() or code


def _codes_fit(description: Description, text: str, shown: str) -> None:
    """A table's code stands in addresses and a torch's on labels, so both are kept plain."""
    if not _CODE.fullmatch(description.table):
        line = _line_of("table", text)
        raise DescriptionError(
            f"{shown}:{line}: table: {description.table!r} is no table's code, allowed: up to 40 "
            "letters, digits, '-' and '_'"
        )
    if description.torch is not None and len(description.torch) > 20:
        line = _line_of("torch", text)
        raise DescriptionError(f"{shown}:{line}: torch: longer than 20 letters")


def _line_of(key: str, text: str) -> int:
    lines = text.splitlines()
    return next((n for n, line in enumerate(lines, 1) if re.match(rf"\s*{key}\s*=", line)), 1)


def sample_try(*, text: str, raw: bytes) -> tuple[Description, Sample]:
    """Decodes a sample under a description; stores nothing. Raises DescriptionError for the
    description and ValidationError for a sample that is too big."""
    if len(raw) > MAX_SAMPLE_BYTES:
        raise ValidationError(f"The sample is over {MAX_SAMPLE_BYTES // 1024 // 1024} MB.")
    description = parse_description(text, name="description")
    starts = range(0, len(raw), _BLOCK)
    return description, decode_sample(description, (raw[at : at + _BLOCK] for at in starts))
