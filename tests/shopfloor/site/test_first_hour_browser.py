"""An inch shop of one table is set up from nothing by the pages alone, up to a first run that is
tied to a job. Clicks and fields are counted: they are what a new shop has to get through."""

from __future__ import annotations

from collections import Counter

import pytest

from planning.services.work import run_all_waiting
from shopfloor.models import PartResult, Run, User
from shopfloor.people.roles import roles_sync
from tests.browser import launched_beside_django

pytestmark = [
    pytest.mark.browser,
    pytest.mark.long,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:No directory at"),
]
MOST_CLICKS, MOST_FIELDS = 40, 15
CHART = b"""set,duty,current_a,gas,material,thickness_in,speed_in_min,pierce_delay_s,kerf_in
fast 85,fast,85,air,A36,0.25,120,0.5,0.07
fast 85,fast,85,air,A36,0.5,55,0.8,0.08
"""
JOBS = b"""job,customer,title,part,quantity,material,thickness
A-1,Hollin Gate Works,Frames,base plate,2,A36,1/4 in
"""
PROGRAM = b"""(two plates of 4 by 4 inches)
G20 G90
G0 X1 Y1
M3
G1 X5 Y1 F120
G1 X5 Y5
G1 X1 Y5
G1 X1 Y1
M5
G0 X7 Y1
M3
G1 X11 Y1 F120
G1 X11 Y5
G1 X7 Y5
G1 X7 Y1
M5
M30
"""
PASSWORD = "rolling-plate-4"


class Hand:
    """Somebody at a page: every click, file chosen and field filled is counted, by step."""

    def __init__(self, page):
        self.page, self.step = page, ""
        self.clicks, self.fields = Counter(), Counter()

    def click(self, what):
        self.clicks[self.step] += 1
        self.page.locator(what).first.click()
        self.page.wait_for_load_state()

    def type(self, name, text):
        self.fields[self.step] += 1
        self.page.fill(f"#page [name={name}]", text)

    def choose(self, name, words):
        """Takes the option that has these words."""
        self.fields[self.step] += 1
        field = self.page.locator(f"#page [name={name}]")
        option = field.locator("option", has_text=words).first
        field.select_option(option.get_attribute("value"))

    def reads(self, name):
        return self.page.input_value(f"#page [name={name}]")

    def bring(self, name, raw):
        """Chooses a file: one click on the field, one in the list of files."""
        self.clicks[self.step] += 2
        file = {"name": name, "mimeType": "text/plain", "buffer": raw}
        self.page.set_input_files("#page [type=file]", file)


@pytest.fixture(autouse=True)
def _roles(transactional_db):
    roles_sync()


def test_a_new_inch_shop_reaches_its_first_run_in_few_clicks(live_server):
    # The one thing before the pages: README's `createsuperuser`.
    User.objects.create_superuser("ada", "ada@shop.example", PASSWORD)
    with launched_beside_django() as browser:
        page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
        hand = Hand(page)
        set_up(hand, live_server.url)
        run_all_waiting()
        code = page.locator("pre.code").inner_text().strip()
        tablet = Hand(browser.new_context(viewport={"width": 1024, "height": 768}).new_page())
        at_the_table(tablet, live_server.url, code)
    run = Run.objects.get(state="finished")
    assert run.sheet.heat.number == "H-1"
    assert run.sheet.length_mm == pytest.approx(2438.4)  # 96 in
    part = PartResult.objects.get(run=run)
    assert (part.line.job.number, part.quantity, part.outcome) == ("A-1", 2, "good")
    clicks, fields = hand.clicks + tablet.clicks, hand.fields + tablet.fields
    assert clicks.total() <= MOST_CLICKS, clicks
    assert fields.total() <= MOST_FIELDS, fields


def set_up(hand, address):
    page = hand.page
    page.set_default_timeout(20_000)
    page.goto(address, timeout=90_000)
    hand.step = "sign in"
    for name, text in (("username", "ada"), ("password", PASSWORD)):
        hand.type(name, text)
    hand.click("#page button[type=submit]")
    on(hand, "Name, time zone, units and currency")
    hand.type("name", "Brindle Weir Fabricating")
    hand.choose("units", "inch")
    hand.click("button:has-text('Keep the rules')")
    on(hand, "A table")
    hand.type("name", "North")
    hand.click("button:has-text('Add the table')")
    on(hand, "Somebody with a PIN")
    for name, text in (("first_name", "Milo"), ("last_name", "Brandt"), ("pin", "2468")):
        hand.type(name, text)
    hand.click("button:has-text('Add them')")
    on(hand, "Your cut chart")
    hand.bring("chart.csv", CHART)
    hand.click("button:has-text('Show what it would change')")
    hand.click("#page button[type=submit]")
    on(hand, "A job")
    hand.bring("jobs.csv", JOBS)
    hand.click("button:has-text('Show what it would do')")
    hand.click("button:has-text('Write 1 line')")
    on(hand, "A nest")
    hand.bring("plates.nc", PROGRAM)
    # One material, set, table and thickness: nothing of it is asked again.
    assert hand.reads("thickness_text") == "1/4 in"
    hand.click("button:has-text('Read the program')")
    hand.step = "tie"
    hand.click("button:has-text('Tie the parts')")
    hand.step = "queue"
    hand.click("a:has-text('Put it in a table')")
    hand.click("#page button[type=submit]")
    on(hand, "Plate in stock")
    for name, text in (("length", "96"), ("width", "48"), ("heat_number", "H-1")):
        hand.type(name, text)
    hand.click("button:has-text('Put it in stock')")
    on(hand, "A screen beside the table")
    hand.click("button:has-text('Make a code')")


def on(hand, label):
    """The link that the page offers once the step before is done."""
    hand.step = label
    assert label in hand.page.locator("p.banner").first.inner_text()
    hand.click("p.banner a")


def at_the_table(hand, address, code):
    page = hand.page
    page.set_default_timeout(8_000)
    page.goto(f"{address}/floor/register/")
    hand.step = "tablet"
    hand.type("code", code)
    hand.click("button:has-text('Use this code')")
    page.wait_for_url("**/floor/**")
    hand.step = "at the table"
    hand.click("label:has-text('Milo Brandt')")
    for digit in "2468":
        hand.click(f"[data-digit='{digit}']")
    hand.click("button:has-text('Sign in')")
    hand.click("button:visible:has-text('A-1')")
    hand.click("label:visible:has-text('P-1001')")
    for press in (
        ("button[type=submit]:visible:has-text('Start')",),
        ("button:visible:has-text('Finish')", "[data-finish]:visible"),
    ):
        with page.expect_response(lambda answer: answer.request.method == "POST"):
            for key in press:
                hand.click(key)
