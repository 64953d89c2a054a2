from __future__ import annotations

from multiprocessing.connection import Connection

import pytest
from django.test import Client
from django.urls import reverse

from shopfloor.people.badges import terminal_register
from tests import forked
from tests.browser import launched_beside_django
from tests.conftest import PIN
from tests.migrated import copied
from tests.shopfloor.terminal import cast
from tests.shopfloor.terminal.stage import played
from tests.shopfloor.terminal.touch import Touch


@pytest.fixture
def floor(north, planner):
    return cast.floor(north, planner)


@pytest.fixture
def token(north):
    _, made = terminal_register(code="north-1", name="tablet beside North", table=north)
    return made


@pytest.fixture
def screen(token):
    """A registered screen nobody has signed in at."""
    client = Client(enforce_csrf_checks=False)
    client.cookies["kerfbook_terminal"] = token
    return client


@pytest.fixture
def signed_in(screen, floor, operator):
    """The screen with Milo Brandt standing at it."""
    reply = screen.post(
        reverse("floor:sign_in", args=["north"]), {"badge": operator.badge, "pin": PIN}
    )
    assert reply.status_code == 302
    return screen


@pytest.fixture(autouse=True)
def _static(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STATIC_ROOT.mkdir()


class Stage:
    """The shop in its own process, and a browser in front of it."""

    def __init__(self, link: Connection) -> None:
        self.link = link
        ready = self._answer()
        self.base = f"http://127.0.0.1:{ready['port']}"
        self.token = ready["token"]

    def does(self, what: str, **more: object) -> dict:
        self.link.send({"do": what, **more})
        return self._answer()

    def _answer(self) -> dict:
        assert self.link.poll(60), "the shop does not answer"
        return self.link.recv()

    def facts(self) -> dict:
        return self.does("nothing")


@pytest.fixture
def stage(tmp_path, migrated):
    data = tmp_path / "shop"
    copied(migrated, data)
    (data / "static").mkdir()
    ours, theirs = forked.context.Pipe()
    process = forked.started(played, data, theirs)
    theirs.close()
    try:
        yield Stage(ours)
    finally:
        ours.close()
        process.join(20)
        process.close()


@pytest.fixture(scope="session")
def chromium():
    with launched_beside_django() as browser:
        yield browser


@pytest.fixture(params=[(1024, 768), (390, 844)], ids=["tablet", "phone"])
def size(request):
    return request.param


@pytest.fixture
def workers():
    """Whether pages may have a service worker: Playwright's routes do not see what one asks."""
    return "block"


@pytest.fixture
def terminal(stage, chromium, size, workers):
    """A registered touch screen in front of the shop, nobody signed in."""
    context = chromium.new_context(
        viewport={"width": size[0], "height": size[1]},
        has_touch=True,
        base_url=stage.base,
        service_workers=workers,
    )
    context.add_cookies(
        [{"name": "kerfbook_terminal", "value": stage.token, "url": f"{stage.base}/floor/"}]
    )
    page = context.new_page()
    made = Touch(page, stage, f"{size[0]}")
    page.set_default_timeout(25_000)  # two cores may be busy with other tests
    yield made
    made.picture("last")
    context.close()
    assert made.errors == []


@pytest.fixture
def hand(terminal):
    """Milo Brandt, signed in and with nothing begun."""
    terminal.sign_in()
    return terminal
