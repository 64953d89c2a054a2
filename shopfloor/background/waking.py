"""Tells a worker that work waits. The row is the truth and a sweep finds it within seconds, so
nobody ever waits for the broker: one quick try, and after a failure none for a while.
"""

from __future__ import annotations

import logging
import threading
import time
from typing import Any

from celery import current_app
from django.db import transaction

log = logging.getLogger(__name__)
ONE, MANY = "kerfbook.work", "kerfbook.wake"
WAIT_S = 0.5  # for the broker; a message takes milliseconds where it is there
QUIET_S = 15.0  # after a failure; the sweep comes as often
STUCK_S = 60.0  # a try that hangs so long is given up

_lock = threading.Lock()
_quiet_until = 0.0
_trying: tuple[threading.Thread, float] | None = None
_here = threading.local()


def wake_after_commit(work_id: int) -> None:
    """One message for all the rows of a transaction, once they are there for others to see."""
    waiting: list[int] = vars(_here).setdefault("waiting", [])
    waiting.append(work_id)
    transaction.on_commit(_wake)


def _wake() -> None:
    ids, _here.waiting = vars(_here).get("waiting", []), []
    if ids:
        wake(ids)


def wake(ids: list[int]) -> bool:
    """Whether the message went out as far as is known. Returns within `WAIT_S`, never raises."""
    global _trying
    now = time.monotonic()
    with _lock:
        busy = _trying is not None and _trying[0].is_alive() and now - _trying[1] < STUCK_S
        if now < _quiet_until or busy:
            return False
        name, args = (ONE, ids[:1]) if len(ids) == 1 else (MANY, [ids])
        thread = threading.Thread(target=_send, args=(name, args), name="wake", daemon=True)
        _trying = (thread, now)
        thread.start()
    thread.join(WAIT_S)
    if thread.is_alive():
        _fail("the broker does not answer")
    return not thread.is_alive() and time.monotonic() >= _quiet_until


def _send(name: str, args: list[Any]) -> None:
    try:
        current_app.send_task(name, args=args, ignore_result=True, retry=False)
    except Exception as problem:  # the broker's own errors are many, and none may lose the row
        _fail(str(problem))


def _fail(why: str) -> None:
    global _quiet_until
    with _lock:
        said, _quiet_until = _quiet_until > time.monotonic(), time.monotonic() + QUIET_S
    if not said:
        log.warning("work waits for the sweep: %s", why)
