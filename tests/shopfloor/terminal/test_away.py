"""A screen that is loaded again without network shows a page of the program, and nobody's data."""

from __future__ import annotations

import pytest

from shopfloor.site.tables import table_add
from shopfloor.terminal import urls
from shopfloor.terminal.views import away

READY = "navigator.serviceWorker.ready.then((kept) => kept.scope)"


@pytest.mark.django_db
def test_the_page_kept_is_the_same_whoever_is_signed_in(client, signed_in, screen):
    kept = client.get("/floor/away/").content
    assert b"cannot reach the program" in kept
    assert signed_in.get("/floor/away/").content == kept
    assert b"Milo" not in kept
    assert client.cookies.keys() == set()


@pytest.mark.django_db
def test_the_worker_is_asked_for_each_time_and_keeps_only_what_holds_no_data(client):
    answer = client.get("/floor/worker.js")
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert answer.headers["Cache-Control"] == "no-cache"
    text = answer.content.decode()
    for name in (*away.NEEDED, "/floor/away/"):
        assert name in text
    assert "&quot;" not in text
    for name in away.NEEDED:
        assert away.finders.find(name), name


def test_another_version_of_the_program_has_another_worker(tmp_path, monkeypatch):
    before = away.version.__wrapped__()
    assert away.version.__wrapped__() == before
    changed = tmp_path / "changed.css"
    changed.write_text("body{}")
    find = away.finders.find
    monkeypatch.setattr(
        away.finders, "find", lambda name: changed if name.endswith("floor.css") else find(name)
    )
    assert away.version.__wrapped__() != before


@pytest.fixture
def size():
    return 1024, 768


@pytest.fixture
def workers():
    return "allow"


@pytest.mark.browser
@pytest.mark.slow
def test_loading_again_without_network_shows_the_program_and_keeps_what_waits(terminal, stage):
    hand = terminal
    hand.sign_in()
    assert hand.page.evaluate(READY) == f"{stage.base}/floor/"
    hand.page.context.set_offline(True)
    hand.sees("No connection since")
    hand.tap("K-2284, nest 1 of 2")
    hand.tap("Start")
    hand.sees("1 entry waits")
    hand.page.reload()
    hand.sees("cannot reach the program")
    hand.sees("1 entry waits on this tablet")
    assert hand.page.get_by_text("Milo Brandt").count() == 0
    hand.looked_at("away")
    hand.page.context.set_offline(False)
    hand.sees("Cutting now")
    hand.until(lambda: stage.facts()["runs"] == [["K-2284-1", "open", "S-1101"]])


@pytest.mark.browser
@pytest.mark.slow
def test_who_signs_out_without_network_is_out_when_it_comes_back(terminal, stage):
    hand = terminal
    hand.sign_in()
    assert hand.page.evaluate(READY) == f"{stage.base}/floor/"
    hand.page.context.set_offline(True)
    hand.sees("No connection since")
    hand.tap("Sign out")
    hand.sees("You are signed out once the network is back")
    hand.page.context.set_offline(False)
    hand.page.locator("#signin").wait_for()


@pytest.mark.browser
@pytest.mark.slow
def test_nothing_of_the_shop_is_kept_by_the_browser(terminal, stage):
    """Everything in its stores is the page without network and what that is drawn with."""
    hand = terminal
    hand.sign_in()
    hand.page.evaluate(READY)
    hand.started()
    hand.page.reload()
    hand.sees("Cutting now")
    kept = hand.page.evaluate(
        """async () => {
          const stores = await Promise.all((await caches.keys()).map((name) => caches.open(name)));
          const asked = (await Promise.all(stores.map((one) => one.keys()))).flat();
          return asked.map((one) => new URL(one.url).pathname).sort();
        }"""
    )
    assert kept == sorted(["/floor/away/", *(f"/static/{name}" for name in away.NEEDED)])


@pytest.mark.django_db
def test_a_table_is_named_like_no_page_of_the_floor():
    pages = {str(one.pattern).rstrip("/") for one in urls.urlpatterns}
    pages = {name for name in pages if name and "<" not in name and "." not in name}
    assert pages
    for name in pages:
        assert table_add(name=name.title()).code not in pages
