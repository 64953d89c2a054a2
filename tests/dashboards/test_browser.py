"""The pages in a real Chromium: drawn, quiet, nothing from outside, and moving by themselves."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from planning.services.run_figures import run_figures
from shopfloor.models import Job, Shift
from shopfloor.people.roles import roles_sync
from tests.browser import launched_beside_django, session_cookie
from tests.planning import cast

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The live server starts before any test has its own static folder; files come from the finders.
    pytest.mark.filterwarnings("ignore:No directory at"),
]
SIZES = {"desk": (1440, 900), "tablet": (1024, 768), "phone": (390, 844)}


@pytest.fixture(autouse=True)
def _roles(transactional_db):
    """A test that commits empties the database afterwards, roles of the first migration too."""
    roles_sync()


@pytest.fixture(scope="module")
def chromium():
    with launched_beside_django() as browser:
        yield browser


@pytest.fixture
def work(north, operator):
    """A run of the last hour, worked out, so that every page has something to draw. Its shift
    began three hours ago: beside the shop's own, a run of early morning is yesterday's."""
    now = timezone.now()
    start = now - timedelta(minutes=70)
    begun = (now - timedelta(hours=3)).astimezone(ZoneInfo("America/Chicago"))
    halves = [begun.time(), (begun + timedelta(hours=12)).time()]
    Shift.objects.filter(name="night").delete()
    for name, begins, ends in (("early", *halves), ("late", *reversed(halves))):
        Shift.objects.filter(name=name).update(start=begins, end=ends)
    cast.rate("machine", 9600)
    _, [line] = cast.job("J-1", quantity=3)
    revision = cast.nest(operator, [(line, 1e5, 500)] * 3)
    run = cast.run(revision, north, start=start, operator=operator, plan=cast.plan([500] * 3))
    cast.arcs(run, [(100, 700, 1), (800, 1400, 2), (1500, 2100, 3)], start=start)
    cast.fitting(cast.piece(label="E-7"), north, start, by=operator)
    run_figures(key=str(run.pk), payload={})
    return run


@pytest.fixture
def open_page(chromium, live_server, request):
    """open_page("/today/", "owner", "phone"): a signed-in page and what it complained of."""
    contexts = []

    def opened(address: str, who: str = "owner", size: str = "desk", **more):
        user = request.getfixturevalue(who)
        width, height = SIZES[size]
        context = chromium.new_context(viewport={"width": width, "height": height}, **more)
        contexts.append(context)
        context.add_cookies([session_cookie(user, live_server.url)])
        page = context.new_page()
        wrong: list[str] = []
        page.on("console", lambda m: wrong.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("request", lambda asked: _outside(asked.url, live_server.url, wrong))
        page.goto(live_server.url + address)
        page.wait_for_selector("h1")
        return page, wrong

    yield opened
    for context in contexts:
        context.close()


def _outside(url: str, home: str, wrong: list[str]) -> None:
    if not url.startswith((home, "data:", "blob:")):
        wrong.append(f"asked outside: {url}")


@pytest.mark.parametrize("address", ["/today/", "/wear/", "/cost/", "/balance/", "run", "job"])
def test_a_page_is_drawn_without_complaint_and_fits(work, open_page, address):
    from shopfloor.models import JobLine

    named = {"run": f"/runs/{work.pk}/", "job": f"/cost/jobs/{JobLine.objects.get().job_id}/"}
    page, wrong = open_page(named.get(address, address), "owner")
    if address in ("/cost/", "/balance/"):
        page.wait_for_selector(".js-plotly-plot .main-svg")
    for width, height in SIZES.values():
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(300)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width
    assert wrong == []


def test_late_jobs_are_the_first_thing_on_a_phone(work, open_page):
    """Above the fold of 844 px, before any table, and not at all where the margin says it."""
    Job.objects.update(due_at=timezone.now() - timedelta(days=1))
    page, _ = open_page("/today/", "supervisor", "phone")
    late = page.locator(".late li").first.bounding_box()
    assert late["y"] + late["height"] < 844 / 3
    assert late["y"] < page.locator(".lede").bounding_box()["y"]
    assert late["y"] < page.locator("section.trow").first.bounding_box()["y"]
    page.set_viewport_size({"width": 1440, "height": 900})
    assert not page.locator(".late").is_visible()


def test_the_day_grows_within_two_seconds_of_an_arc(work, open_page, north):
    page, wrong = open_page("/today/", "supervisor")
    label = "svg.strip[aria-label^='North:']"
    before = page.locator(label).first.get_attribute("aria-label")
    assert "3 arcs" in before
    page.evaluate(
        """label => { window.began = 0;
        new MutationObserver(() => {
          const said = document.querySelector(label).getAttribute("aria-label");
          if (said.includes("4 arcs")) window.grew = window.grew || performance.now();
        }).observe(document.getElementById("day"), {subtree: true, childList: true}) }""",
        label,
    )
    ago = (timezone.now() - work.opened_at).total_seconds()
    page.evaluate("window.began = performance.now()")
    [arc] = cast.arcs(work, [(ago - 60, ago - 5, None)], start=work.opened_at)
    type(arc).objects.filter(pk=arc.pk).update(changed_us=1)
    for _ in range(60):
        if page.evaluate("window.grew || 0"):
            break
        page.wait_for_timeout(100)
    assert page.evaluate("window.grew") is not None
    assert page.evaluate("window.grew - window.began") < 2000
    assert wrong == []


def test_the_page_says_when_the_connection_is_gone_and_when_it_is_back(work, open_page):
    page, _ = open_page("/today/", "supervisor")
    page.context.set_offline(True)
    page.wait_for_selector("#no-connection:not([hidden])", timeout=12_000)
    assert "No connection since" in page.locator("#no-connection").inner_text()
    page.context.set_offline(False)
    page.wait_for_selector("#no-connection[hidden]", state="attached", timeout=6000)


def test_a_line_being_written_is_not_lost_when_the_day_moves(work, open_page):
    page, _ = open_page("/today/", "supervisor")
    page.get_by_text("Write a line").click()
    page.get_by_label("A line for the next shift").fill("Bay water table low")
    cast.stoppage(work, work.opened_at + timedelta(seconds=720), 60)
    page.wait_for_timeout(2500)
    assert page.get_by_label("A line for the next shift").input_value() == "Bay water table low"


@pytest.mark.parametrize("address", ["/today/", "/cost/", "/wear/"])
def test_dark_is_dark_to_the_figures_too(work, open_page, address):
    page, wrong = open_page(address, "owner", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(22, 28, 34)"
    if address == "/cost/":
        page.wait_for_selector(".chart.dark .main-svg")
        ground = page.evaluate(
            "getComputedStyle(document.querySelector('.chart .main-svg')).backgroundColor"
        )
        assert ground == "rgb(22, 28, 34)"
    assert wrong == []


def test_the_nests_picker_can_be_worked_by_keyboard(work, open_page):
    """A search in a form: a piece of the name, Enter, and the address names what was typed."""
    from shopfloor.models import User

    cast.nest(User.objects.get(username="milo"), [], name="N-ZZ")
    page, wrong = open_page("/balance/?days=7", "planner")
    page.wait_for_selector("#nest")
    page.locator("#nest").focus()
    assert page.locator("#nest").input_value() == "N-ZZ"
    page.locator("#nest").press("Control+a")
    page.keyboard.type("zz")
    page.keyboard.press("Enter")
    page.wait_for_url("**/balance/?days=7&nest=zz")
    page.wait_for_selector("#nest")
    assert page.locator("#nest").input_value() == "N-ZZ"
    assert wrong == []
