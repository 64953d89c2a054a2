"""A browser that answers nothing more is ended at the limit, and the test that waits fails.

Each runs in a process of its own: at the limit all browsers of a process are ended, and other
tests' browsers live in this one."""

from __future__ import annotations

import multiprocessing
import shutil
import subprocess
import threading
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import pytest

from tests.browser import launched
from tests.browser_limit import BrowserLimit, limited

ENDLESS = "() => { for (;;); }"


@pytest.fixture
def other_driver():
    """Stands for the browser of another test in this process."""
    named = ["playwright of another test", "60"]
    with subprocess.Popen(named, executable=shutil.which("sleep")) as other:
        yield other
        other.kill()


@pytest.mark.browser
def test_a_page_that_never_answers_fails_its_test_by_name(other_driver):
    _apart(_waits_for_ever)
    assert other_driver.poll() is None


def _waits_for_ever() -> None:
    began = time.monotonic()
    said = "north::test_x: still waiting after 2 s"
    late = pytest.raises(BrowserLimit, match=said)
    with late, limited("north::test_x", limit_s=2.0), launched() as browser:
        browser.new_page().evaluate(ENDLESS)
    assert time.monotonic() - began < 30


def test_what_is_done_in_time_is_left_alone_and_its_own_failure_stays():
    with limited("north::test_x", limit_s=20.0):
        pass
    with pytest.raises(KeyError), limited("north::test_x", limit_s=20.0):
        raise KeyError("its own")


def test_what_waits_for_something_else_ends_its_process(other_driver):
    _apart(_waits_for_something_else)
    assert other_driver.poll() is None


def _waits_for_something_else() -> None:
    ended = threading.Event()
    names = []

    def end(name: str) -> None:
        names.append(name)
        ended.set()

    with limited("north::test_x", limit_s=0.01, freed_s=0.01, end=end):
        assert ended.wait(20)
    assert names == ["north::test_x"]


def _apart(body: Callable[[], None]) -> None:
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as child:
        child.submit(body).result()
