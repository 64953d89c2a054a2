"""A limit on every browser test. The browser library waits for its driver without end when an
answer is lost; then the driver and its browsers are ended, and the test fails with what it waited
for. Where even that frees nobody, the process ends, and says in which test and where it stood."""

from __future__ import annotations

import faulthandler
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

LIMIT_S = 300.0  # the longest takes half a minute alone
FREED_S = 30.0  # after its browser is gone, a test has so long to fail
DRIVER = b"playwright"


class BrowserLimit(Exception):
    """A browser test was still waiting at its limit."""


@contextmanager
def limited(
    name: str, *, limit_s: float = LIMIT_S, freed_s: float = FREED_S,
    end: Callable[[str], None] | None = None,
) -> Iterator[None]:  # fmt: skip
    """Raises `BrowserLimit` with the test's name where its body was still waiting at the limit.
    `end` is called where it waits on even then; without it the process ends."""
    passed, over = threading.Event(), threading.Event()

    def watch() -> None:
        if over.wait(limit_s):
            return
        passed.set()
        for driver in _drivers():
            for pid in [*_below(driver), driver]:
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
        if not over.wait(freed_s):
            (end or _end)(name)

    watching = threading.Thread(target=watch, name=f"limit of {name}", daemon=True)
    watching.start()
    try:
        yield
    except BaseException as failed:
        if passed.is_set() and not isinstance(failed, KeyboardInterrupt):
            raise BrowserLimit(f"{name}: still waiting after {limit_s:.0f} s") from failed
        raise
    finally:
        over.set()
        watching.join()


def _end(name: str) -> None:
    sys.__stderr__.write(f"\n{name}: still waiting after its browser was ended\n")
    faulthandler.dump_traceback(file=sys.__stderr__)
    os._exit(1)


def _drivers() -> list[int]:
    """The browser library's own processes below this one."""
    return [pid for pid in _below(os.getpid()) if DRIVER in _command(pid)]


def _command(pid: int) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


def _below(pid: int) -> list[int]:
    """All that a process has started, and they in turn."""
    found = _children(pid)
    return found + [deeper for one in found for deeper in _below(one)]


def _children(pid: int) -> list[int]:
    try:
        tasks = list(Path(f"/proc/{pid}/task").iterdir())
        return [int(one) for task in tasks for one in (task / "children").read_text().split()]
    except OSError:  # it has ended
        return []
