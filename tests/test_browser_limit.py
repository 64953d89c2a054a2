"""A browser that answers nothing more is ended at the limit, and the test that waits fails."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.browser import launched
from tests.browser_limit import BrowserLimit, limited

ENDLESS = "() => { for (;;); }"


@pytest.mark.browser
def test_a_page_that_never_answers_fails_its_test_by_name():
    with ThreadPoolExecutor(1) as apart:  # another test's browser may still hold this thread
        apart.submit(_waits_for_ever).result()


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


def test_what_waits_for_something_else_ends_its_process():
    ended = threading.Event()
    names = []

    def end(name: str) -> None:
        names.append(name)
        ended.set()

    with limited("north::test_x", limit_s=0.01, freed_s=0.01, end=end):
        assert ended.wait(20)
    assert names == ["north::test_x"]
