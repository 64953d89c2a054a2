"""A hand at the screen: taps, scans, and the sizes of what there is to touch."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Error as PlaywrightError

PIN = "2468"
LEAST_PX = 64
APART_PX = 9
KEYS = "button,a.key-btn,label.key-btn"
FIELDS = "input:not([type=hidden],[type=radio],[type=checkbox]),select"
SHOWN = """const shown = (e) => e.checkVisibility() && !e.matches('.aloud');
  const said = (e) => e.textContent.trim().slice(0, 40) || e.id;"""
SMALL = f"""() => {{
  {SHOWN}
  return [...document.querySelectorAll('{KEYS},{FIELDS}')].filter(shown)
    .map((e) => [said(e), e.getBoundingClientRect()])
    .filter(([, b]) => b.width < {LEAST_PX} - 0.01 || b.height < {LEAST_PX} - 0.01)
    .map(([text, b]) => [text, b.width, b.height]);
}}"""
CLOSE = f"""() => {{
  {SHOWN}
  const keys = [...document.querySelectorAll('{KEYS}')].filter(shown)
    .map((e) => [said(e), e.getBoundingClientRect()]);
  const out = [];
  keys.forEach(([one, a], i) => keys.slice(i + 1).forEach(([other, b]) => {{
    const dx = Math.max(a.left - b.right, b.left - a.right);
    const dy = Math.max(a.top - b.bottom, b.top - a.bottom);
    if (Math.max(dx, dy) < {APART_PX} - 0.01) out.push([one, other, dx, dy]);
  }}));
  return out;
}}"""
CUT_OFF = f"""() => {{
  {SHOWN}
  const page = document.documentElement.scrollWidth;
  const out = page > innerWidth ? [['the page', page]] : [];
  for (const e of document.querySelectorAll('{KEYS},h1,h2,p')) {{
    if (!shown(e) || !e.clientWidth || e.scrollWidth <= e.clientWidth + 1) continue;
    out.push([said(e), e.scrollWidth, e.clientWidth]);
  }}
  return out;
}}"""

TYPED = """addEventListener('keydown', (e) => (window.typed ||= []).push(e.timeStamp), true)"""
SLOWEST = """() => { const at = window.typed || []; window.typed = [];
  return Math.max(0, ...at.slice(1).map((t, i) => t - at[i])) }"""
SCANNER_MS = 70  # a scanner's keys come closer than this


class Touch:
    def __init__(self, page: Any, stage: Any, name: str) -> None:
        self.page, self.stage, self.name = page, stage, name
        self.taps, self.begun = 0, time.monotonic()
        self.errors: list[str] = []
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", self._console)
        page.add_init_script(TYPED)

    def _console(self, message: Any) -> None:
        offline = ("ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION", "ERR_FAILED", "401")
        if message.type == "error" and not any(word in message.text for word in offline):
            self.errors.append(message.text)

    def open(self) -> None:
        self.page.goto("/floor/north/")

    def tap(self, text: str, *, exact: bool = False) -> None:
        """Touches the first key on show that says so."""
        keys = self.page.locator("button:visible, a.key-btn:visible, label.key-btn:visible")
        self.touch(
            keys.filter(has_text=text).first
            if not exact
            else keys.get_by_text(text, exact=True).first
        )

    def touch(self, where: Any) -> None:
        where.tap()
        self.taps += 1

    def tap_corner(self, css: str) -> None:
        """Touches a shape on the map just inside its corner, where no hole lies. The run's own map
        takes the nest's place once it is there, so the shape may move or be drawn anew before."""
        boxes: list[Any] = []

        def rests() -> bool:
            try:
                shape = self.page.locator(css)
                shape.scroll_into_view_if_needed(timeout=2000)
                boxes.append(shape.bounding_box())
            except PlaywrightError:
                boxes.clear()
            self.page.wait_for_timeout(300)
            return len(boxes) > 2 and boxes[-1] == boxes[-2] == boxes[-3]

        self.until(rests)
        self.page.touchscreen.tap(boxes[-1]["x"] + 6, boxes[-1]["y"] + 6)
        self.taps += 1

    def scan(self, code: str) -> None:
        """As a scanner types: fast, then Enter. On a busy machine the keys may come too slowly to
        be a scanner's; then it is scanned again, as a person would."""
        for _ in range(5):
            self.page.evaluate(SLOWEST)
            self.page.keyboard.type(code)
            self.page.keyboard.press("Enter")
            try:
                if self.page.evaluate(SLOWEST) < SCANNER_MS:
                    return
            except PlaywrightError:  # it was heard, and has led to another page
                return

    def sign_in(self, badge: str = "B-milo") -> None:
        self.open()
        self.scan(badge)
        for figure in PIN:
            self.tap(figure)
        self.tap("Sign in")
        self.page.locator("html[data-kept] #screens").wait_for()

    def started(self) -> None:
        """The first nest of the list, on the sheet that is planned for it."""
        self.tap("K-2284, nest 1 of 2")
        self.tap("Start")
        self.settled()
        self.sees("of 12 base plates")

    def sees(self, text: str, timeout_s: float = 60) -> None:
        self.page.get_by_text(text).locator("visible=true").first.wait_for(timeout=timeout_s * 1000)

    def settled(self, timeout_s: float = 60) -> None:
        """Everything entered is acknowledged and in the state on the page."""
        kept = "document.documentElement.dataset.kept"
        quiet = [""]

        def still() -> bool:
            self.page.wait_for_timeout(150)
            quiet.append(self.page.evaluate(kept))
            return quiet[-4:] == ["0"] * 4

        self.until(still, timeout_s)

    def until(self, true: Any, timeout_s: float = 60) -> None:
        end = time.monotonic() + timeout_s
        while not true():
            assert time.monotonic() < end, "it did not come about"
            self.page.wait_for_timeout(50)

    def begin(self) -> None:
        self.taps, self.begun = 0, time.monotonic()

    def needed(self, what: str) -> int:
        """Taps since `begin`; noted with the seconds beside the pictures, where those are kept."""
        folder = os.environ.get("KERFBOOK_PICTURES")
        if folder:
            with Path(folder, "taps.txt").open("a") as notes:
                seconds = time.monotonic() - self.begun
                notes.write(f"{self.name} {what}: {self.taps} taps, {seconds:.1f} s\n")
        return self.taps

    def picture(self, name: str) -> None:
        folder = os.environ.get("KERFBOOK_PICTURES")
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            self.page.screenshot(path=f"{folder}/{self.name}-{name}.png", full_page=True)

    def looked_at(self, name: str) -> None:
        """All targets are large enough and apart, nothing is cut off; a picture where asked for."""
        self.picture(name)
        self.page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
        found = self.page.evaluate(SMALL)
        assert not found, f"small: {found}"
        found = self.page.evaluate(CLOSE)
        assert not found, f"close: {found}"
        found = self.page.evaluate(CUT_OFF)
        assert not found, f"cut_off: {found}"
