"""Reads the settings from the environment, strictly: a value that is not understood stops the
program with its name, rather than becoming a default."""

from __future__ import annotations

import os
import secrets
from pathlib import Path


class SettingError(RuntimeError):
    """An environment variable holds something that cannot be used."""


def env_bool(name: str, default: bool) -> bool:
    """`1`/`true` or `0`/`false`; "yes" is refused, so no typo turns it off."""
    raw = os.environ.get(name)
    if raw is None or raw == "":
        return default
    if raw.lower() in {"1", "true"}:
        return True
    if raw.lower() in {"0", "false"}:
        return False
    raise SettingError(f"{name}: {raw!r} is neither true/1 nor false/0")


def env_list(name: str, default: list[str]) -> list[str]:
    raw = os.environ.get(name)
    return default if not raw else [part.strip() for part in raw.split(",") if part.strip()]


def data_dir(default: Path) -> Path:
    """The data folder of every command: database, journal, files, secret key."""
    return Path(os.environ.get("KERFBOOK_DATA") or default).expanduser().resolve()


def secret_key(folder: Path) -> str:
    """From KERFBOOK_SECRET_KEY, else from the data folder, made at first start (mode 0600)."""
    given = os.environ.get("KERFBOOK_SECRET_KEY")
    if given:
        return given
    path = folder / "secret.key"
    folder.mkdir(parents=True, exist_ok=True)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text(encoding="ascii").strip()
    with os.fdopen(handle, "w", encoding="ascii") as out:
        key = secrets.token_urlsafe(48)
        out.write(key + "\n")
    return key
