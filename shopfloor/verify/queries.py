"""The last time the records were verified, and how far a verification going on has come."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from django.conf import settings
from django.utils.translation import gettext as _

from shopfloor.models import Verification, Work
from telemetry.locks import is_held
from telemetry.said import restored, to_reader


def verify_lock() -> Path:
    return Path(settings.DATA_DIR) / "verify.lock"


def verify_progress() -> Path:
    """Where a verification says how far it is. A file: nothing is written to the database while it
    is read in one view."""
    return Path(settings.DATA_DIR) / "verify.progress"


@dataclass(frozen=True, slots=True)
class Progress:
    """Step `done` of `total`, and what is looked at in it."""

    done: int
    total: int
    step: str


def verification_progress() -> Progress | None:
    """None where none goes on."""
    if not is_held(verify_lock()):
        return None
    try:
        said = json.loads(verify_progress().read_text())
        return Progress(int(said["done"]), int(said["total"]), to_reader(restored(said["step"])))
    except (OSError, ValueError, KeyError):
        return Progress(0, 1, _("beginning"))


def verification_wanted() -> bool:
    """Whether one was asked for and has not begun."""
    return Work.objects.filter(kind="verify", state__in=("waiting", "running")).exists()


def verification_last() -> Verification | None:
    """The newest that came to its end."""
    return Verification.objects.exclude(ended_at=None).select_related("by").first()


class Ended(NamedTuple):
    """How many faults a verification found, and when it ended."""

    faults: int
    ended_at: datetime


def last_faults() -> Ended | None:
    """Of the newest that came to its end."""
    rows = Verification.objects.exclude(ended_at=None).values_list("faults", "ended_at")
    return next((Ended(faults, at) for faults, at in rows[:1] if at is not None), None)


def verification_health(now: datetime) -> tuple[str, int | None]:
    """("ok", "faults" or "never", seconds since it ended): for whatever watches the machine."""
    last = last_faults()
    if last is None:
        return "never", None
    return ("faults" if last.faults else "ok"), round((now - last.ended_at).total_seconds())
