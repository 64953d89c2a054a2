"""How soon the terminal is painted on a slow tablet, beside a bare page on the same tablet.

    python -m tests.shopfloor.terminal.paint [TIMES]

Chromium with its processor throttled six times, an empty cache for each visit, the program on this
machine. Prints first contentful paint of a signed-in terminal with a nest open, of the sign-in
page, and of a page with one word. Not a test: a machine's seconds are its own, the ratio says
more."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median

from tests.browser import launched
from tests.shopfloor.terminal.touch import Touch

ROOT = Path(__file__).resolve().parents[3]
THROTTLE = 6
BARE = "<!doctype html><title>bare</title><p>bare</p>"
PAINTED = """() => new Promise((done) => new PerformanceObserver((list) => {
  for (const one of list.getEntries()) {
    if (one.name === 'first-contentful-paint') done(one.startTime);
  }
}).observe({ type: 'paint', buffered: true }))"""


def painted(browser, base: str, cookies: list[dict], path: str) -> float:
    """Milliseconds from the start of navigation to the first paint with something on it."""
    context = browser.new_context(
        viewport={"width": 1024, "height": 768}, has_touch=True, base_url=base
    )
    context.add_cookies(cookies)
    page = context.new_page()
    page.route("**/bare", lambda route: route.fulfill(body=BARE, content_type="text/html"))
    context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": THROTTLE})
    page.goto(path)
    found = page.evaluate(PAINTED)
    context.close()
    return found


def signed_in_cookies(browser, base: str, token: str) -> list[dict]:
    context = browser.new_context(base_url=base, has_touch=True)
    context.add_cookies([{"name": "kerfbook_terminal", "value": token, "url": f"{base}/floor/"}])
    hand = Touch(context.new_page(), None, "paint")
    hand.sign_in()
    hand.tap("K-2284, nest 1 of 2")
    hand.tap("Start")
    hand.settled()
    cookies = context.cookies()
    context.close()
    return cookies


def main(times: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "shop"
        (data / "static").mkdir(parents=True)
        env = {**os.environ, "KERFBOOK_DATA": str(data)}
        subprocess.run(
            [sys.executable, "manage.py", "migrate", "--verbosity=0"], env=env, cwd=ROOT, check=True
        )
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.shopfloor.terminal.stage"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=env, cwd=ROOT,
        )  # fmt: skip
        assert process.stdin
        assert process.stdout
        ready = json.loads(process.stdout.readline())
        base = f"http://127.0.0.1:{ready['port']}"
        with launched() as browser:
            cookies = signed_in_cookies(browser, base, ready["token"])
            screen = [one for one in cookies if one["name"] == "kerfbook_terminal"]
            found: dict[str, list[float]] = {"bare": [], "sign-in": [], "terminal": []}
            for _ in range(times):
                found["bare"].append(painted(browser, base, [], "/bare"))
                found["sign-in"].append(painted(browser, base, screen, "/floor/north/"))
                found["terminal"].append(painted(browser, base, cookies, "/floor/north/"))
        process.stdin.close()
        process.wait(timeout=20)
    bare = median(found["bare"])
    for name, rows in found.items():
        sys.stdout.write(
            f"{name:<9} {median(rows):6.0f} ms (of {times}: {min(rows):.0f} to {max(rows):.0f}), "
            f"{median(rows) / bare:.1f} times the bare page\n"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 7)
