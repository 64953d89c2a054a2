"""Reads the settings from the environment, strictly: a value that is not understood stops the
program with its name, rather than becoming a default."""

from __future__ import annotations

import os
import secrets
import tempfile
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path

from django.conf.locale import LANG_INFO


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


def env_choice(name: str, default: str, choices: list[str]) -> str:
    chosen = os.environ.get(name) or default
    if chosen not in choices:
        raise SettingError(f"{name}: {chosen!r} is none of {', '.join(choices)}")
    return chosen


def languages(folder: Path) -> list[tuple[str, str]]:
    """Code and own name of English and of each language that has a compiled catalogue."""
    found = sorted(path.parents[1].name for path in folder.glob("*/LC_MESSAGES/django.mo"))
    codes = ["en", *(name.replace("_", "-").lower() for name in found if name != "en")]
    return [(code, LANG_INFO.get(code, {}).get("name_local", code)) for code in codes]


def env_networks(name: str) -> tuple[IPv4Network | IPv6Network, ...]:
    """Addresses and networks, comma separated: `127.0.0.1, 10.0.0.0/8, ::1`."""
    found = []
    for part in env_list(name, []):
        try:
            found.append(ip_network(part))
        except ValueError as problem:
            raise SettingError(f"{name}: {problem}") from problem
    return tuple(found)


def env_folders(name: str) -> tuple[Path, ...] | None:
    """Folders by their whole path, colon separated; None where nothing is set."""
    parts = [Path(part) for part in os.environ.get(name, "").split(":") if part.strip()]
    for part in parts:
        if not part.is_absolute():
            raise SettingError(
                f"{name}: {str(part)!r} is not an absolute path, one that begins with /"
            )
    return tuple(parts) or None


def data_dir(default: Path) -> Path:
    """The data folder of every command: database, journal, files, secret key."""
    return Path(os.environ.get("KERFBOOK_DATA") or default).expanduser().resolve()


def secret_key(folder: Path) -> str:
    """From KERFBOOK_SECRET_KEY, else from the data folder, made at first start (mode 0600)."""
    given = os.environ.get("KERFBOOK_SECRET_KEY")
    if given:
        return given
    path = folder / "secret.key"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            _write_once(path, secrets.token_urlsafe(48) + "\n")
        key = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as problem:
        why = getattr(problem, "strerror", None) or problem
        raise SettingError(f"KERFBOOK_DATA: {folder} cannot hold the data: {why}") from problem
    if not key:
        raise SettingError(f"{path}:1: the key is empty; delete the file and a new one is made")
    return key


def _write_once(path: Path, text: str) -> None:
    """Whole or not at all, readable by its owner alone; of two at once the first one's stays. A
    file that is there but not yet written would be read as an empty key by the other."""
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=".secret")
    with os.fdopen(handle, "w", encoding="ascii") as out:
        out.write(text)
        out.flush()
        os.fsync(out.fileno())
    try:
        os.link(draft, path)
    except FileExistsError:
        os.unlink(draft)
    except OSError:  # a file system without links: the later of two wins, before either is used
        os.replace(draft, path)
    else:
        os.unlink(draft)
