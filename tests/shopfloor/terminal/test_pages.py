from __future__ import annotations

import json
import re
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.test import Client
from django.utils import timezone
from django.utils.html import escape

from shopfloor.models import Nest, QueueItem
from shopfloor.nests.papers import paper_code, paper_drawn, plan_on, setup_said
from shopfloor.notes.hand_overs import hand_over_write
from shopfloor.people.badges import terminal_by_token, terminal_retire
from shopfloor.runs.services import run_open
from telemetry.models import Arc
from tests.conftest import PASSWORD, PIN
from tests.shopfloor.terminal.cast import sheet

pytestmark = pytest.mark.django_db
PAGE = "/floor/north/"


def test_a_screen_that_is_not_registered_is_asked_to_be(client, north):
    assert client.get(PAGE, headers={"Accept": "text/html"}).headers["Location"] == "/floor/"
    assert b"not registered yet" in client.get("/floor/").content
    assert client.get("/floor/north/state").status_code == 403


def test_a_screen_registered_for_one_table_does_not_open_another(screen, south):
    reply = screen.get("/floor/south/", headers={"Accept": "text/html"})
    assert reply.headers["Location"] == "/floor/"


def test_a_retired_screen_is_out(screen, north, token):
    found = terminal_by_token(token=token, now=timezone.now())
    terminal_retire(terminal=found)
    assert screen.get("/floor/north/state").status_code == 403


def test_in_a_demo_the_table_is_chosen_without_a_desk_sign_in(client, shop, north):
    shop.is_demo = True
    shop.save(update_fields=["is_demo"])
    reply = client.post("/floor/", {"table": "north"})
    assert reply.headers["Location"] == PAGE
    assert "Who is at North?" in client.get(PAGE).content.decode()


def test_outside_a_demo_choosing_a_table_registers_nothing(client, shop, north):
    client.post("/floor/", {"table": "north"})
    assert "kerfbook_terminal" not in client.cookies


@pytest.mark.parametrize("who", ["supervisor", "administrator"])
def test_a_lead_registers_a_screen_and_leaves_no_desk_open_on_it(request, client, north, who):
    client.force_login(request.getfixturevalue(who))
    reply = client.post("/floor/register/", {"name": "tablet", "table": north.pk})
    assert reply.headers["Location"] == PAGE
    assert client.cookies["kerfbook_terminal"]["httponly"]
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize("who", ["operator", "planner", "owner", "nobody"])
def test_nobody_else_registers_a_screen(request, client, north, who):
    client.force_login(request.getfixturevalue(who))
    reply = client.post("/floor/register/", {"name": "tablet", "table": north.pk})
    assert reply.status_code == 403
    assert "kerfbook_terminal" not in client.cookies


def test_badge_and_pin_open_the_table(signed_in):
    text = signed_in.get(PAGE).content.decode()
    assert "Milo Brandt" in text
    assert "Next on North" in text


def test_a_name_and_pin_open_the_table(screen, floor, operator):
    screen.post(PAGE + "sign-in", {"person": operator.pk, "pin": PIN})
    assert "Milo Brandt" in screen.get(PAGE).content.decode()


def test_people_without_the_right_are_not_among_the_names(screen, floor, operator, owner, nobody):
    text = screen.get(PAGE).content.decode()
    assert "Milo Brandt" in text
    assert "Ann Tiller" not in text
    assert "Sam Quill" not in text


def test_a_badge_without_the_right_does_not_open(screen, floor, owner):
    reply = screen.post(PAGE + "sign-in", {"badge": owner.badge, "pin": PIN})
    assert "Nobody known" in reply.content.decode()
    assert screen.get("/floor/north/state").status_code == 401


def test_five_wrong_pins_lock_and_say_until_when(screen, floor, operator):
    for _ in range(5):
        reply = screen.post(PAGE + "sign-in", {"badge": operator.badge, "pin": "1357"})
        assert "That PIN is not right" in reply.content.decode()
    locked = screen.post(PAGE + "sign-in", {"badge": operator.badge, "pin": PIN}).content.decode()
    assert re.search(r"Try again from \d\d:\d\d:\d\d", locked)
    assert screen.get("/floor/north/state").status_code == 401


def test_signing_in_needs_the_csrf_token(token, floor, operator):
    client = Client(enforce_csrf_checks=True)
    client.cookies["kerfbook_terminal"] = token
    reply = client.post(PAGE + "sign-in", {"badge": operator.badge, "pin": PIN})
    assert reply.status_code == 403


def test_signed_in_at_the_floor_is_nobody_at_the_desk(signed_in, supervisor):
    assert "_auth_user_id" not in signed_in.session
    reply = signed_in.get("/floor/register/").content.decode()
    assert 'name="code"' in reply
    assert 'name="table"' not in reply
    assert "/sign-in/?next=/floor/register/" in reply


def test_a_desk_sign_in_alone_does_not_open_the_floor(client, token, floor, supervisor):
    client.cookies["kerfbook_terminal"] = token
    client.force_login(supervisor)
    assert "Who is at North?" in client.get(PAGE).content.decode()
    assert client.login(username="dana", password=PASSWORD)


def test_hand_over_adds_a_second_person(signed_in, supervisor):
    signed_in.post(PAGE + "sign-in", {"badge": supervisor.badge, "pin": PIN, "beside": "yes"})
    assert "Dana Okell and Milo Brandt" in signed_in.get(PAGE).content.decode()


def test_a_new_sign_in_without_hand_over_replaces(signed_in, supervisor):
    signed_in.post(PAGE + "sign-in", {"badge": supervisor.badge, "pin": PIN})
    text = signed_in.get(PAGE).content.decode()
    assert "Dana Okell" in text
    assert "Milo Brandt" not in text


def test_standing_idle_signs_out_and_touching_does_not(signed_in):
    start = timezone.now()
    with time_machine.travel(start.timestamp() + 240, tick=False):
        assert signed_in.get(PAGE + "state?touched=1").status_code == 200
    with time_machine.travel(start.timestamp() + 480, tick=False):
        assert signed_in.get(PAGE + "state").status_code == 200
    with time_machine.travel(start.timestamp() + 900, tick=False):
        assert signed_in.get(PAGE + "state").status_code == 401


def test_the_page_has_one_clock(signed_in, floor, north, operator):
    """The strip shows where now is; its time stands at the top alone."""
    began = timezone.now() - timedelta(minutes=40)
    with time_machine.travel(began, tick=False):
        run_open(revision=floor.revision, table=north, torch=north.torches.get(), at=began,
                 operator=operator)  # fmt: skip
    text = signed_in.get(PAGE + "state?touched=1").content.decode()
    strip = re.search(r"data-run-strip>(.*?)</div></div>", text, re.S)[1]
    now = timezone.localtime(timezone=ZoneInfo("America/Chicago"))
    assert 'class="now"' in strip
    assert f">{now:%H:%M}<" not in strip


def test_an_unchanged_state_is_answered_without_a_body(signed_in):
    text = signed_in.get(PAGE + "state").content.decode()
    version = re.search(r'data-version="(\w+)"', text)[1]
    again = signed_in.get(PAGE + f"state?have={version}")
    assert (again.status_code, again.content) == (204, b"")


# The cast's prices and costs, however they are grouped or rounded; no row's number comes near them.
MONEY = re.compile(r"(?<!\w)(98.?765|45.?67[89]|76.?543)|\$|USD")


def test_no_money_anywhere_on_the_floor(signed_in, floor):
    revision = floor.revision.pk
    pages = [PAGE, PAGE + "state", PAGE + f"map/{revision}", PAGE + f"map/{revision}?for=restart"]
    for address in pages:
        reply = signed_in.get(address)
        assert reply.status_code == 200
        shown = re.sub(
            r'(csrfmiddlewaretoken" value|data-by|data-version|d|viewBox)="[^"]*"',
            "",
            reply.content.decode(),
        )
        assert MONEY.findall(shown) == []
        assert not re.search(r"price|cost|quote|margin|wage", re.sub(r"margin-|-margin", "", shown))


def test_a_person_s_own_units_reach_the_figures(signed_in, operator):
    operator.units = "inch"
    operator.save(update_fields=["units"])
    text = signed_in.get(PAGE + "state").content.decode()
    assert 'data-scale="25.4"' in text


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ("S-1109", "Sheet S-1109 is in stock"),
        ("sheet:S-1109", "Sheet S-1109 is in stock"),
        ("T-fine", "Tray T-fine"),
        ("nonsense", "nothing the shop knows"),
    ],
)
def test_a_scanned_code_is_said_in_words(signed_in, code, says):
    assert says in signed_in.get(PAGE + "code", {"code": code}).json()["words"]


def scanned(signed_in, code):
    return signed_in.get(PAGE + "code", {"code": code}).json()


def test_a_nest_further_down_the_list_starts_from_its_setup_sheet(signed_in, floor):
    planned = sheet(4, floor.revision.nest.material)
    item = QueueItem.objects.create(
        nest=floor.items[0].nest, table=floor.table, position=9, sheet=planned
    )
    QueueItem.objects.filter(pk=floor.items[0].pk).update(state="done")
    for code in ("K-2284-1", "nest:k-2284-1", planned.code):
        screen = scanned(signed_in, code)["screen"]
        assert f'data-screen="start-{item.pk}"' in screen
        assert f"Sheet {planned.code}" in screen


def test_a_nest_on_no_list_starts_from_its_setup_sheet_and_a_sheet_of_its_metal(signed_in, floor):
    QueueItem.objects.filter(pk=floor.items[0].pk).update(state="done")
    screen = scanned(signed_in, "K-2284-1")["screen"]
    assert "Not in North’s queue." in screen
    assert "No sheet is planned" in screen
    assert "S-1109" in screen  # S355 of 12 mm in stock
    assert "S-1103" not in screen  # the stainless one
    assert escape(json.dumps({"revision": floor.revision.pk})) in screen


def printed(floor, planner):
    nest, revision = floor.items[0].nest, floor.revision
    said = setup_said(nest, revision, plan_on(nest, revision, floor.table))
    return paper_drawn(
        kind="setup", said=said, by=planner, now=timezone.now(), nest=nest, table=floor.table
    )


def test_a_setup_sheet_in_force_starts_its_nest_and_a_void_one_says_why(signed_in, floor, planner):
    code = paper_code(printed(floor, planner))
    assert escape(code) in signed_in.get(PAGE).content.decode()  # known without asking
    assert f'data-screen="start-{floor.items[0].pk}"' in scanned(signed_in, code)["screen"]
    Nest.objects.filter(name="K-2284-1").update(thickness_text="1/2 in")
    assert "is void" in scanned(signed_in, code)["words"]


def test_a_nest_on_another_table_s_list_says_so(signed_in, floor, south):
    QueueItem.objects.filter(pk=floor.items[0].pk).update(table=south)
    for code in ("K-2284-1", "K-2284"):
        screen = scanned(signed_in, code)["screen"]
        if code == "K-2284-1":
            assert "It is taken from the queue of South." in screen
            assert escape(json.dumps({"queue_item": floor.items[0].pk})) in screen
        else:
            assert "K-2284-2" in screen  # the job's own here goes first
    QueueItem.objects.filter(pk=floor.items[1].pk).update(state="done")
    assert "It is taken from the queue of South." in scanned(signed_in, "K-2284")["screen"]


def test_a_withdrawn_nest_does_not_start(signed_in, floor):
    QueueItem.objects.filter(pk=floor.items[0].pk).update(state="done")
    Nest.objects.filter(name="K-2284-1").update(withdrawn_at=timezone.now())
    assert "was withdrawn" in scanned(signed_in, "K-2284-1")["words"]


def test_an_unchanged_state_costs_a_handful_of_queries(
    signed_in, floor, django_assert_max_num_queries
):
    version = version_of(signed_in)
    with django_assert_max_num_queries(12):
        assert signed_in.get(PAGE + f"state?have={version}").status_code == 204
    with django_assert_max_num_queries(46):
        signed_in.get(PAGE + "state")


def test_what_the_last_shift_left_stands_on_the_screen(signed_in, floor, supervisor):
    now = timezone.now()
    hand_over_write(
        table_id=floor.table.pk, shift_date=now.date(), shift="early", text="Gas is low.",
        drafted="", seen_us=None, by=supervisor, now=now,
    )  # fmt: skip
    page = signed_in.get(PAGE).content.decode()
    assert "Left by the last shift" in page
    assert "Gas is low." in page


def version_of(client):
    return re.search(r'data-version="(\w+)"', client.get(PAGE + "state").content.decode())[1]


def test_the_state_follows_the_queue_and_the_arcs(signed_in, floor):
    with time_machine.travel(timezone.now(), tick=False):
        before = version_of(signed_in)
        floor.items[0].position = 7
        floor.items[0].save(update_fields=["position"])
        moved = version_of(signed_in)
        Arc.objects.create(
            key="k", feed=floor.feed, table="north", torch="1", on_us=1, ended="open",
            feed_version=1, changed_us=1,
        )  # fmt: skip
        assert len({before, moved, version_of(signed_in)}) == 3
