"""What one request costs, told by the process that answers it."""

from __future__ import annotations

import json
import os
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.backends.base.base import BaseDatabaseWrapper

HEADER = "X-Kerfbook-Bench"
Start = Callable[..., Any]
_SELF = Path("/proc/self")


class Statements:
    """Counts a connection's statements, and can stop the one under way."""

    def __init__(self, connection: BaseDatabaseWrapper) -> None:
        self.connection = connection
        self.count = 0
        self.stopped = False

    def __call__(self, execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
        self.count += 1
        return execute(sql, params, many, context)

    def stop(self) -> None:
        """From another thread: what is asked of the database now ends with an error."""
        raw: Any = self.connection.connection
        self.stopped = True
        if raw is not None:
            raw.interrupt() if self.connection.vendor == "sqlite" else raw.cancel()


class Measured:
    """A WSGI application that tells in a header what its answer took: processor seconds of this
    thread and of the database's process for it, wall seconds, statements, bytes written to
    temporary files, and by how much memory grew at its highest; `late` that its statement was
    stopped after `timeout_s`. Requests come one at a time."""

    def __init__(
        self, application: Callable[[dict[str, Any], Start], Iterable[bytes]], timeout_s: float
    ) -> None:
        self.application = application
        self.timeout_s = timeout_s

    def __call__(self, environ: dict[str, Any], start_response: Start) -> Iterable[bytes]:
        told: list[Any] = []
        statements = Statements(connections[DEFAULT_DB_ALIAS])
        timer = threading.Timer(self.timeout_s, statements.stop)
        timer.daemon = True
        written, before_mb = _written(), _peak_anew_mb()
        timer.start()
        wall, cpu, theirs = time.perf_counter(), time.thread_time(), _database_s()

        def start(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> None:
            told[:] = [status, headers]

        with statements.connection.execute_wrapper(statements):
            answer = self.application(environ, start)
            body = b"".join(answer)
            if hasattr(answer, "close"):
                answer.close()
        timer.cancel()
        found: dict[str, Any] = {
            "cpu_s": time.thread_time() - cpu,
            "wall_s": time.perf_counter() - wall,
            "queries": statements.count,
            "late": statements.stopped,
            "memory_mb": max(0.0, _status_mb("VmHWM") - before_mb),
        }
        after = _database_s()
        found["database_s"] = None if theirs is None or after is None else max(0.0, after - theirs)
        found["temporary_bytes"] = max(0, _written() - written)
        start_response(told[0], [*told[1], (HEADER, json.dumps(found))])
        return [body]


def _written() -> int:
    """Bytes of temporary files so far. SQLite's are written by this process, which on a page that
    is only read writes little else; PostgreSQL counts them itself."""
    if connection.vendor == "sqlite":
        lines = (_SELF / "io").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("wchar"))
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_stat_force_next_flush()")
        cursor.execute("SELECT temp_bytes FROM pg_stat_database WHERE datname = current_database()")
        return int(cursor.fetchone()[0])


def _database_s() -> float | None:
    """Processor seconds of the server's process for our connection; 0 on SQLite, which works in
    ours. None where it cannot be seen: on another machine."""
    if connection.vendor == "sqlite":
        return 0.0
    connection.ensure_connection()
    raw: Any = connection.connection
    try:
        text = Path(f"/proc/{raw.info.backend_pid}/schedstat").read_text()
    except OSError:
        return None
    return int(text.split()[0]) / 1e9


def _peak_anew_mb() -> float:
    """Memory now, the highest mark set back to it."""
    (_SELF / "clear_refs").write_text("5")
    return _status_mb("VmRSS")


def _status_mb(name: str) -> float:
    lines = (_SELF / "status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(f"{name}:")) / 1024


def end_with_parent() -> None:
    """Ends this process when the one that started it is gone."""
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(1)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
