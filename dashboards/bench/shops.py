"""The shops the gate is measured in, made once a day and version and kept between runs.

A small shop (two tables, six weeks) is loaded and worked out by the example shop's own maker; the
measured ones are grown from it. Each lies in a data folder of its own, with its database there
(SQLite) or beside the configured one (PostgreSQL).
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

from planning.bench.bigshop.size import Size

Say = Callable[[str], None]
_MADE_BY = ("shopfloor/demo", "planning/bench/bigshop", "dashboards/bench/making.py")
_PREFIX = "kerfbook_pages_"
_KEPT_BESIDE = ("files",)


@dataclass(frozen=True, slots=True)
class Shop:
    """Where a grown shop lies. `url` is blank for SQLite in the folder."""

    folder: Path
    url: str = ""

    def environment(self) -> dict[str, str]:
        found = {**os.environ, "KERFBOOK_DATA": str(self.folder)}
        found.pop("DATABASE_URL", None)
        found.pop("REDIS_URL", None)
        return {**found, "DATABASE_URL": self.url} if self.url else found


def cache_folder() -> Path:
    """Outside the source tree and of any shop's data; XDG's cache folder, as is usual."""
    base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "kerfbook" / "bench"


def version() -> str:
    """Changes with the day, because the shops end now, and with what they are made by. A shop
    made before a migration is migrated."""
    digest = hashlib.sha256(datetime.now(UTC).date().isoformat().encode())
    for place in _MADE_BY:
        path = Path(settings.BASE_DIR) / place
        for file in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def made(sizes: dict[str, Size], *, say: Say, cache: Path | None = None) -> dict[str, Shop]:
    """The shops by name, each made unless it is there. Old versions are thrown away."""
    cache = cache or cache_folder()
    kept = cache / version()
    _forget(cache, kept)
    small = Shop(kept / "two-tables")
    days = next(iter(sizes.values())).days
    _make(small, "small", {"days": days}, say)
    found = {}
    for name, size in sizes.items():
        folder = kept / f"{name}-{connection.vendor}"
        shop = Shop(folder, _database(f"{_PREFIX}{kept.name}_{name}".replace("-", "_")))
        _make(shop, "grown", {"small": str(small.folder), **asdict(size)}, say)
        found[name] = shop
    return found


def _make(shop: Shop, what: str, options: dict[str, Any], say: Say) -> None:
    ready = shop.folder / "bench-ready"
    if ready.exists():
        _run(shop, "-m", "dashboards.bench.making", "migrated", "{}")
        return
    shutil.rmtree(shop.folder, ignore_errors=True)
    shop.folder.mkdir(parents=True)
    say(f"making {shop.folder}")
    _anew(shop)
    _run(shop, "-m", "dashboards.bench.making", what, json.dumps(options))
    if small := options.get("small"):
        for name in _KEPT_BESIDE:
            if (Path(small) / name).is_dir():
                shutil.copytree(Path(small) / name, shop.folder / name, dirs_exist_ok=True)
    ready.touch()


def _run(shop: Shop, *words: str) -> None:
    subprocess.run(
        [sys.executable, *words], env=shop.environment(), cwd=settings.BASE_DIR, check=True
    )


def _database(name: str) -> str:
    """The address of a database of that name on the configured server; "" on SQLite."""
    url = os.environ.get("DATABASE_URL", "")
    if not url or connection.vendor == "sqlite":
        return ""
    return f"{url.rpartition('/')[0]}/{name}"


def _anew(shop: Shop) -> None:
    if not shop.url:
        return
    name = shop.url.rpartition("/")[2]
    with connection.cursor() as cursor:
        cursor.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        cursor.execute(f"CREATE DATABASE {name}")


def _forget(cache: Path, kept: Path) -> None:
    """Shops of other days and versions, with their databases."""
    for folder in _others(cache, kept):
        shutil.rmtree(folder)
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        like = _PREFIX.replace("_", r"\_") + "%"
        cursor.execute("SELECT datname FROM pg_database WHERE datname LIKE %s", [like])
        for (name,) in cursor.fetchall():
            if not name.startswith(f"{_PREFIX}{kept.name}_"):
                cursor.execute(f"DROP DATABASE {name} WITH (FORCE)")


def _others(cache: Path, kept: Path) -> Iterable[Path]:
    return [one for one in cache.iterdir() if one != kept] if cache.is_dir() else []
