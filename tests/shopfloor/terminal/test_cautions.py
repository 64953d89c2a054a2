"""Each screen where hands can be hurt says so, and defers to local codes."""

from __future__ import annotations

import re

import pytest

pytestmark = pytest.mark.django_db

SAID = {
    "restart": ("lock out", "position and torch"),
    "finish": ("hot", "Edges", "reaches in"),
    "bench": ("ears", "Guard on", "hot"),
    "sheet": ("hot", "Nobody under a load", "circuit"),
    "air": ("Bleed pressure", "ears", "live"),
    "change": ("locked out", "Copper holds heat"),
    "main": ("After a crash", "lock out"),
}


@pytest.mark.parametrize("name", SAID)
def test_a_screen_says_what_to_mind(signed_in, floor, name):
    page = signed_in.get("/floor/north/").content.decode()
    _, _, rest = page.partition(f'data-screen="{name}"')
    text = re.sub(r"<[^>]+>", " ", rest.partition("<section data-screen=")[0])
    for words in (*SAID[name], "local code"):
        assert words in text


def test_going_on_with_another_set_has_its_caution(signed_in, floor):
    """The third nest asks the fine set; the fast one is in the torch."""
    page = signed_in.get("/floor/north/").content.decode()
    start = page.index(f'data-screen="start-{floor.items[2].pk}"')
    keep = page.index("data-keep-set", start)
    assert "must be what the machine is set to" in page[keep : page.index("</form>", keep)]
