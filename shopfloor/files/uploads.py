"""Uploads between preview and confirmation, kept by the hash of their bytes: what is confirmed is
what was previewed, whoever uploads something of the same name meanwhile. Each is kept for one form
and is nothing to another; one that nobody confirms goes after a day."""

from __future__ import annotations

import contextlib
import hashlib
import re
import time
from pathlib import Path
from typing import Literal

from django.conf import settings

Form = Literal["drawing", "chart", "jobs", "incoming"]
# Waits on record, has no day to end, and is found under its hash alone, as older versions kept it.
INCOMING: Form = "incoming"
KEPT_S = 86_400
_HASH = re.compile(r"[0-9a-f]{64}")


def upload_keep(raw: bytes, form: Form) -> str:
    """Keeps the bytes for that form and returns their SHA-256."""
    digest = hashlib.sha256(raw).hexdigest()
    path = upload_path(digest, form)
    path.parent.mkdir(parents=True, exist_ok=True)
    _sweep(path.parent)
    if path.exists():
        path.touch()  # another day
    else:
        part = path.with_suffix(".part")
        part.write_bytes(raw)
        part.replace(path)
    return digest


def upload_read(digest: str, form: Form) -> bytes | None:
    """The bytes of that hash, None where that form keeps none or no longer what they were."""
    if not _HASH.fullmatch(digest):
        return None
    try:
        raw = upload_path(digest, form).read_bytes()
    except FileNotFoundError:
        return None
    return raw if hashlib.sha256(raw).hexdigest() == digest else None


def upload_drop(digest: str, form: Form) -> None:
    """Forgets the bytes of that hash."""
    if _HASH.fullmatch(digest):
        upload_path(digest, form).unlink(missing_ok=True)


def upload_path(digest: str, form: Form) -> Path:
    name = digest if form == INCOMING else f"{form}-{digest}"
    return Path(settings.DATA_DIR) / "uploads" / name


def _sweep(folder: Path) -> None:
    """Lets go what nobody confirmed, and what a kill left half written."""
    before = time.time() - KEPT_S
    for path in folder.iterdir():
        if "-" in path.name or path.suffix == ".part":
            with contextlib.suppress(FileNotFoundError):
                if path.stat().st_mtime < before:
                    path.unlink()
