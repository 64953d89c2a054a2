"""Tables in a browser: sorted by the values beside their words, by keyboard too."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.browser import launched

SCRIPT = Path("shopfloor/static/kerfbook/tables.js").read_text()
PAGE = """<main><div role="region" aria-label="Runs"><table><thead>
<tr><th>Nest</th><th class="num">Took</th><th>Began</th><th></th></tr></thead><tbody>
<tr><td>N-10</td><td class="num"><data value="90">1 h 30 min</data></td>
<td><time datetime="2026-10-09T06:00:00">Fri 9 Oct 06:00</time></td><td></td></tr>
<tr><td>N-9</td><td class="num"><span class="unknown">unknown</span></td>
<td><time datetime="2026-10-10T06:00:00">Sat 10 Oct 06:00</time></td><td></td></tr>
<tr><td>N-2</td><td class="num"><data value="100">100 min</data></td><td>–</td><td></td></tr>
<tr class="total"><td>Together</td><td class="num"><data value="190">190</data></td><td></td>
<td></td></tr>
</tbody></table></div></main>"""


@pytest.mark.browser
def test_a_column_sorts_up_and_down_by_its_values_and_unknown_stands_last():
    with ThreadPoolExecutor(1) as apart:  # another test's browser may still hold this thread
        apart.submit(_sorts).result()


def _sorts() -> None:
    with launched() as browser:
        page = browser.new_page()
        page.route("**/*", lambda route: route.fulfill(content_type="text/html", body=PAGE))
        page.goto("http://shop.test/runs/?q=x#end")
        page.add_script_tag(content=SCRIPT)
        first = """() => [...document.querySelectorAll("tbody td:first-child")]
            .map((cell) => cell.innerText)"""

        def pressed(head: str, key: str = "Enter") -> list[str]:
            page.locator("th button", has_text=head).focus()
            page.keyboard.press(key)
            return page.evaluate(first)

        assert page.locator("th button").count() == 3  # none over the column of buttons
        assert pressed("Took") == ["N-10", "N-2", "N-9", "Together"]
        assert page.locator("th[aria-sort=ascending]").inner_text() == "Took"
        assert pressed("Took", "Space") == ["N-2", "N-10", "N-9", "Together"]
        assert page.locator("th[aria-sort=descending]").inner_text() == "Took"
        assert pressed("Began") == ["N-10", "N-9", "N-2", "Together"]
        assert pressed("Nest") == ["N-2", "N-9", "N-10", "Together"]
        assert page.locator("th[aria-sort]").count() == 1
        link = page.get_by_role("link", name="Save Runs as XLSX")
        assert link.get_attribute("href") == "http://shop.test/runs/?q=x&table=Runs&as=xlsx"
