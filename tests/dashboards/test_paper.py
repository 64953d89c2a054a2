"""Charts on paper: the PDF that Chromium prints, read by PDFium, has ink where the chart belongs
and none between it and what stands beside it, whatever width the screen had."""

from __future__ import annotations

import pypdfium2
import pytest

from tests.dashboards.test_browser import _roles, chromium, open_page, work

__all__ = ["_roles", "chromium", "open_page", "work"]
pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:No directory at"),
]
PAPERS = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}  # points
PX = 2  # pixels a point
SCREENS = [(1920, 1080), (390, 844)]


class Paper:
    """The first page of a PDF: where its words stand (points from the top left), and its ink."""

    def __init__(self, raw, words):
        with pypdfium2.PdfDocument(raw) as document:
            page = document[0]
            self.width, self.height = page.get_size()
            self.pixels = page.render(scale=PX, grayscale=True).to_numpy()
            self.boxes = {word: self._box(page.get_textpage(), word) for word in words}

    def _box(self, text, words):
        found = text.search(words).get_next()
        assert found, f"{words!r} is not on the paper"
        text.count_rects(*found)
        left, bottom, right, top = text.get_rect(0)
        return left, self.height - top, right, self.height - bottom

    def ink(self, left, top, right, bottom):
        """The share of these points that is not white."""
        assert left < right
        assert top < bottom
        part = self.pixels[int(top * PX) : int(bottom * PX), int(left * PX) : int(right * PX)]
        return float((part < 200).mean())


def printed(page, *words):
    """(the paper's own sides, what was printed) from every screen on every paper."""
    for width, height in SCREENS:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_selector(".js-plotly-plot .main-svg")
        page.wait_for_timeout(400)
        for paper, sides in PAPERS.items():
            yield sides, Paper(page.pdf(format=paper, print_background=True), words)


def test_the_days_are_drawn_beside_their_table_and_again_on_the_screen(work, open_page):
    page, wrong = open_page("/balance/")
    for sides, sheet in printed(page, "shift date", "DAY BY DAY"):
        assert (sheet.height, sheet.width) == pytest.approx(sides, abs=1.5)
        under, table = sheet.boxes["shift date"], sheet.boxes["DAY BY DAY"]
        above = under[1] - 170
        assert sheet.ink(60, above, table[0] - 12, under[1] - 20) > 0.01
        assert sheet.ink(table[0] - 8, above, table[0] - 2, under[3]) == 0
    page.wait_for_timeout(300)
    wide = "document.querySelector('{}').getBoundingClientRect().width"
    chart, column = (page.evaluate(wide.format(each)) for each in (".main-svg", ".chart"))
    assert chart == pytest.approx(column, abs=1)
    page.evaluate("document.querySelector('.chart').innerHTML = ''")
    early = "drawn. Print"
    assert Paper(page.pdf(format="A4"), [early]).boxes[early]
    assert wrong == []


def test_the_steps_are_drawn_beside_the_notes(work, open_page):
    page, wrong = open_page("/cost/")
    for sides, sheet in printed(page, "cost, USD", "The month is open", "WHERE THE HOURS WENT"):
        assert (sheet.width, sheet.height) == pytest.approx(sides, abs=1.5)
        top, bottom = sheet.boxes["cost, USD"][3], sheet.boxes["WHERE THE HOURS WENT"][1] - 14
        beside = sheet.boxes["The month is open"][0] - 14
        assert sheet.ink(120, top, beside - 10, bottom) > 0.003
        assert sheet.ink(beside - 8, top + 4, beside - 4, bottom) == 0
    assert wrong == []


def test_no_table_of_the_month_lies_over_another(work, open_page):
    page, _ = open_page("/cost/")
    page.wait_for_selector(".js-plotly-plot .main-svg")
    page.emulate_media(media="print")
    over = """() => { const tables = [...document.querySelectorAll('.ledger')]
      .filter((e) => e.checkVisibility()).map((e) => e.getBoundingClientRect());
      return tables.filter((a, place) => a.right > innerWidth + 1 || tables.slice(place + 1)
        .some((b) => a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1
          && b.top < a.bottom - 1)).length }"""
    for width in (695, 718):  # A4 and Letter upright, less their margins, in px
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate(over) == 0
