"""Runs the program's own processes for tests: real commands, own data folder, own port."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent


def environment(data: Path, **more: str) -> dict[str, str]:
    """This process's environment without its databases, with the data folder given; sources may
    be read from beside it."""
    kept = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "REDIS_URL"}}
    folders = {"KERFBOOK_DATA": str(data), "KERFBOOK_SOURCE_DIRS": str(data.parent)}
    return {**kept, **folders, "PYTHONUNBUFFERED": "1", **more}


def manage(*words: str, env: dict[str, str], timeout: float = 120) -> subprocess.CompletedProcess:
    command = [sys.executable, str(ROOT / "manage.py"), *words]
    return subprocess.run(
        command, env=env, cwd=ROOT, capture_output=True, text=True, timeout=timeout, check=False
    )


def manage_json(*words: str, env: dict[str, str]) -> dict[str, Any]:
    done = manage(*words, "--json", env=env)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@contextlib.contextmanager
def running(command: list[str], env: dict[str, str], log: Path) -> Iterator[subprocess.Popen]:
    with log.open("ab") as out:
        process = subprocess.Popen(
            command, env=env, cwd=ROOT, stdout=out, stderr=subprocess.STDOUT, start_new_session=True
        )
    try:
        yield process
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGTERM)
            try:
                process.wait(timeout=15)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def get(url: str, timeout: float = 5) -> tuple[int, str]:
    with urllib.request.urlopen(url, timeout=timeout) as answer:
        return answer.status, answer.read().decode()


def until(check: Callable[[], Any], *, within_s: float, what: str) -> Any:
    """The first true answer of `check`; fails with `what` where none came in time."""
    end = time.monotonic() + within_s
    last: Exception | None = None
    while time.monotonic() < end:
        try:
            answer = check()
        except (OSError, AssertionError, ValueError) as problem:
            last, answer = problem, None
        if answer:
            return answer
        time.sleep(0.1)
    raise AssertionError(f"{what}: not within {within_s:g} s ({last})")
