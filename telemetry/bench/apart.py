"""Runs a part of the bench in a process, data folder and database of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.conf import settings
from django.db import connection


def apart(module: str, options: dict[str, Any]) -> dict[str, Any]:
    """What `module`'s `measure(**options)` answers there. Raises RuntimeError where it fails."""
    with _database() as url, tempfile.TemporaryDirectory(prefix="kerfbook-bench-") as folder:
        environment = {**os.environ, "KERFBOOK_DATA": folder}
        if url:
            environment["DATABASE_URL"] = url
        code = (
            "import django, json, sys; django.setup()\n"
            f"from {module} import measure\n"
            "answer = measure(**json.loads(sys.argv[1]))\n"
            "sys.stdout.write(json.dumps(answer))"
        )
        environment["DJANGO_SETTINGS_MODULE"] = os.environ["DJANGO_SETTINGS_MODULE"]
        done = subprocess.run(
            [sys.executable, "-c", code, json.dumps(options)],
            env=environment, cwd=settings.BASE_DIR, stdout=subprocess.PIPE, check=False,
        )  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"{module} ended with status {done.returncode}")
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


@contextmanager
def _database() -> Iterator[str]:
    """A new PostgreSQL database beside the configured one; "" where that is SQLite."""
    url = os.environ.get("DATABASE_URL", "")
    if not url or connection.vendor == "sqlite":
        yield ""
        return
    name = f"kerfbook_bench_{uuid4().hex[:10]}"
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {name}")
    try:
        yield f"{url.rpartition('/')[0]}/{name}"
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"DROP DATABASE {name} WITH (FORCE)")


def scratch(name: str) -> Path:
    """A file in the bench's own data folder."""
    folder = Path(settings.DATA_DIR) / "bench"
    folder.mkdir(parents=True, exist_ok=True)
    return folder / name
