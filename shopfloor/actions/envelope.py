"""What a device's delivery must be before anything is done with it, and nothing is stored until
it is: an id, a kind, values every database keeps, and a time that can have been."""

from __future__ import annotations

import json
import math
import uuid
from datetime import datetime, timedelta
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from planning.calc.dates import dated
from shopfloor.errors import FloorError
from shopfloor.wording.visible import visible

# A sign-in carries entries for a week without network; a day more for a clock set by hand.
OLDEST = timedelta(days=8)
YEARS = range(1970, 2201)  # a clock that lost its battery says 1970; none says less
WHOLE_MOST = 2**53  # the largest whole number a browser counts to exactly
DEEPEST = 6
MOST_BYTES = 256 * 1024  # one entry: a finish that names each of 3,000 parts takes 250,000
BEGINS = 2000  # letters kept of a larger one


def envelope_parts(envelope: dict[str, Any]) -> tuple[uuid.UUID, str, dict[str, Any]]:
    """Id, kind and payload. Raises `FloorError` where one of them is not what it must be."""
    try:
        key = uuid.UUID(str(envelope["id"]))
    except (KeyError, ValueError):
        raise FloorError(_("The action carries no id.")) from None
    kind = envelope.get("kind")
    payload = envelope.get("payload") or {}
    if not isinstance(kind, str) or not kind or not isinstance(payload, dict):
        raise FloorError(_("The action names no kind, or its payload is not an object."))
    if not _kept(kind):
        raise FloorError(_("The action's kind has letters that are not text."))
    for name, value in payload.items():
        if not _kept(name) or not _kept(value):
            raise FloorError(
                _("{name!r} holds what cannot be kept.").format(name=name[:40]),
                _("Load the page again."),
            )
    return key, kind, _seen(payload)


def envelope_cut(payload: dict[str, Any]) -> tuple[dict[str, Any], int]:
    """A payload as it is kept, and its size in bytes where it is larger than an entry may be (0:
    it is not). Of a larger one the beginning is kept, with how much it was."""
    text = json.dumps(payload, ensure_ascii=False)
    size = len(text.encode())
    if size <= MOST_BYTES:
        return payload, 0
    return {"cut": True, "bytes": size, "begins": text[:BEGINS]}, size


def envelope_instant(envelope: dict[str, Any], name: str) -> datetime:
    """A time with its offset. Raises `FloorError` for anything else."""
    try:
        found = parse_datetime(str(envelope.get(name, "")))
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise FloorError(
            _("{name}: {name2!r} is not a time with an offset.").format(
                name=name, name2=envelope.get(name)
            )
        )
    if found.year not in YEARS:
        raise FloorError(
            _("{name}: no clock says the year {year}.").format(name=name, year=found.year),
            _("Set this screen's clock."),
        )
    return found


def happened_at(device_at: datetime, offset_ms: int, now: datetime) -> datetime:
    """When it was done, by our clock, never later than now. Raises `FloorError` for a time before
    anybody who may still deliver had signed in: the device's clock was set in between."""
    at = min(device_at - timedelta(milliseconds=offset_ms), now)
    if now - at > OLDEST:
        raise FloorError(
            _("By this screen's clock that was on {at}, before anyone signed in.").format(
                at=dated(localtime(at))
            ),
            _("Set the clock and enter it again."),
        )
    return at


def _seen(value: Any) -> Any:
    """A JSON value with what its texts show, and nothing that is not seen."""
    if isinstance(value, str):
        return visible(value)
    if isinstance(value, list):
        return [_seen(one) for one in value]
    return {k: _seen(one) for k, one in value.items()} if isinstance(value, dict) else value


def _kept(value: Any, depth: int = 0) -> bool:
    """Whether every database keeps a JSON value as it is: no NUL, no half of a letter, no number
    a browser cannot mean."""
    if isinstance(value, str):
        return "\0" not in value and not any("\ud800" <= letter <= "\udfff" for letter in value)
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, int):
        return abs(value) <= WHOLE_MOST
    if isinstance(value, dict):
        value = [*value.keys(), *value.values()]
    if isinstance(value, list):
        return depth < DEEPEST and all(_kept(one, depth + 1) for one in value)
    return value is None
