"""Two hundred slow connections against the web process as `start` runs it."""

from __future__ import annotations

import statistics
import sys
import time

import pytest

from tests.migrated import copied
from tests.processes import ROOT, environment, free_port, get, running, until
from tests.slow_clients import BODY, HEAD, held, reading

pytestmark = pytest.mark.long

COUNT = 200
PAGES = ("/healthz", "/sign-in/")


def seconds(base: str) -> float:
    """The median of nine answers, of pages that ask the database and draw a template."""
    taken = []
    for turn in range(9):
        began = time.monotonic()
        assert get(base + PAGES[turn % 2], timeout=10)[0] == 200
        taken.append(time.monotonic() - began)
    return statistics.median(taken)


def test_two_hundred_slow_connections_hold_up_nobody(tmp_path, migrated):
    port = free_port()
    copied(migrated, tmp_path / "data")
    env, base = environment(tmp_path / "data"), f"http://127.0.0.1:{port}"
    web = [sys.executable, str(ROOT / "manage.py"), "web", "--port", str(port)]
    with running(web, env, tmp_path / "web.log"):
        until(lambda: get(f"{base}/healthz"), within_s=60, what="healthz answers")
        usual = seconds(base)
        for kind, sent in {
            "heads": HEAD,
            "bodies": BODY,
            "readers": reading("/sign-in/"),
        }.items():
            with held(port, COUNT, sent):
                # Two hundred pages are work, too: it waits until that is done.
                until(lambda: get(f"{base}/healthz", 2), within_s=60, what=f"answers, {kind}")
                slow = seconds(base)
            # With a thread held each, eight would stop it for good.
            assert slow < max(10 * usual, 1.0), kind
    assert "Traceback" not in (tmp_path / "web.log").read_text()
