"""Uploads between preview and confirmation, kept by the hash of their bytes: what is confirmed is
what was previewed, whoever uploads something of the same name meanwhile."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from django.conf import settings

_HASH = re.compile(r"[0-9a-f]{64}")


def upload_keep(raw: bytes) -> str:
    """Keeps the bytes and returns their SHA-256."""
    digest = hashlib.sha256(raw).hexdigest()
    path = _folder() / digest
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(".part")
        part.write_bytes(raw)
        part.replace(path)
    return digest


def upload_read(digest: str) -> bytes | None:
    """The bytes of that hash, None where they are not kept or no longer what they were."""
    if not _HASH.fullmatch(digest):
        return None
    path = _folder() / digest
    if not path.exists():
        return None
    raw = path.read_bytes()
    return raw if hashlib.sha256(raw).hexdigest() == digest else None


def upload_drop(digest: str) -> None:
    """Forgets the bytes of that hash."""
    if _HASH.fullmatch(digest):
        (_folder() / digest).unlink(missing_ok=True)


def _folder() -> Path:
    return Path(settings.DATA_DIR) / "uploads"
