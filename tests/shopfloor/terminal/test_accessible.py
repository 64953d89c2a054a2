"""Every screen of the terminal under axe-core, and how soon it is there on a slow tablet."""

from __future__ import annotations

import os
from pathlib import Path
from statistics import median

import pytest

from tests.browser import axe_finds

pytestmark = [pytest.mark.browser, pytest.mark.slow]
# "why" stops, and so shows itself; what comes after it is looked at from the stopped table.
SCREENS = ("check", "finish", "change", "bench", "air", "sheet", "restart", "why")
PAINT = """() => new Promise((done) => new PerformanceObserver((seen) => {
  for (const first of seen.getEntriesByName('first-contentful-paint')) done(first.startTime);
}).observe({type: 'paint', buffered: true}))"""
GOAL_S = 2.0
THROTTLE = 6


@pytest.fixture(params=["light", pytest.param("dark", marks=pytest.mark.long)])
def theme(request, terminal, stage):
    """As the person at the screen chose it; signed out, as the tablet says."""
    terminal.page.emulate_media(color_scheme=request.param)
    stage.does("theme", theme=request.param)
    return request.param


def test_no_screen_has_a_violation(terminal, stage, theme):
    page = terminal.page
    found = {}

    def looked_at(name: str) -> None:
        found[name] = axe_finds(page)

    def opened(name: str) -> None:
        page.locator(f"[data-go={name}]:visible").first.tap()
        page.wait_for_timeout(500)
        looked_at(name)
        page.locator("#back:visible").tap()

    terminal.open()
    page.wait_for_selector("#signin")
    looked_at("sign in")
    page.goto("/floor/help/?at=north")
    looked_at("help")
    page.goto("/floor/")
    looked_at("which table")
    terminal.sign_in()
    looked_at("idle")
    terminal.tap("Hand over")
    page.wait_for_selector("#signin")
    looked_at("hand over")
    terminal.tap("Back")
    page.locator("html[data-kept] #screens").wait_for()
    stage.does("gap")
    terminal.sees("without a reason")
    opened("gaps")
    terminal.tap("K-2297")
    looked_at("start with the wrong set, of a metal that wants care")
    terminal.tap("Back")
    terminal.tap("K-2284, nest 1 of 2")
    looked_at("start")
    terminal.tap("Start")
    terminal.settled()
    for name in SCREENS:
        opened(name)
    terminal.sees("No reason given.")
    looked_at("stopped")
    opened("sheet")
    stage.does("new hire checked")
    stage.does("two counts")
    terminal.tap("Cutting again")
    terminal.settled()
    terminal.sees("First piece waits for a second signature.")
    looked_at("a signature wanted")
    opened("conflicts")
    terminal.tap("Sign it")
    page.wait_for_selector("#measured")
    looked_at("second signature")
    assert set(SCREENS) <= set(found)
    assert not {name: said for name, said in found.items() if said}


def test_every_screen_there_is_was_looked_at(terminal):
    """One that is added later has to be added above."""
    terminal.sign_in()
    names = terminal.page.locator("[data-screen]").evaluate_all(
        "found => found.map((one) => one.dataset.screen)"
    )
    starts = [name for name in names if name.startswith("start-")]
    assert len(starts) == 3
    assert set(names) - set(starts) - {"main", "gaps", "conflicts"} == set(SCREENS)


def test_registering_a_screen_has_no_violation(stage, chromium):
    """Asked of somebody who signs in at a desk first."""
    context = chromium.new_context(base_url=stage.base, has_touch=True)
    page = context.new_page()
    page.goto("/floor/")
    found = {"not registered": axe_finds(page)}
    page.goto("/floor/register/")
    found["sign in at a desk"] = axe_finds(page)
    for name, role in (("dana", "register"), ("milo", "refused")):
        stage.does("password", name=name)
        page.goto("/sign-in/?next=/floor/register/")
        page.fill("[name=username]", name)
        page.fill("[name=password]", "burn clean plate")
        page.locator("[type=submit]").first.click()
        page.goto("/floor/register/")
        found[role] = axe_finds(page)
        page.context.clear_cookies()
    context.close()
    assert not {name: said for name, said in found.items() if said}


def first_paint_s(page, url: str) -> float:
    """Seconds to the first contentful paint with the processor slowed and nothing cached."""
    fresh = page.context.new_page()
    session = page.context.new_cdp_session(fresh)
    session.send("Network.setCacheDisabled", {"cacheDisabled": True})
    session.send("Emulation.setCPUThrottlingRate", {"rate": THROTTLE})
    fresh.goto(url)
    found = fresh.evaluate(PAINT) / 1000
    fresh.close()
    return float(found)


def test_the_terminal_is_there_soon_on_a_slow_tablet(terminal):
    """The working screen of a person signed in, processor slowed six times. The bare page is plain
    text from the same server; the bound is on the ratio, since the machine that tests may be busy:
    a bare page takes what the machine takes, and the terminal at most eight of those, or the two
    seconds that are the goal."""
    terminal.sign_in()
    page = terminal.page
    bare = median(first_paint_s(page, "/healthz") for _ in range(3))
    whole = median(first_paint_s(page, "/floor/north/") for _ in range(3))
    folder = os.environ.get("KERFBOOK_PICTURES")
    if folder:
        with Path(folder, "taps.txt").open("a") as notes:
            notes.write(f"{terminal.name} paint x{THROTTLE}: {whole:.2f} s, bare {bare:.2f} s\n")
    assert whole < max(GOAL_S, 8 * bare), (whole, bare)
