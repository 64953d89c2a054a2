from __future__ import annotations

import uuid

import pytest
from django.test import Client

pytestmark = pytest.mark.django_db
RUN = uuid.UUID(int=7)
PEOPLE = ("operator", "supervisor", "planner", "owner", "administrator", "nobody")
DESK = {"supervisor", "planner", "owner", "administrator"}
ASSIGN = {"supervisor", "planner", "owner"}
MONEY = {"owner"}
QUOTES = {"owner", "planner"}
CALLBACK = {
    "output": "page.children",
    "outputs": {"id": "page", "property": "children"},
    "inputs": [{"id": "at", "property": "search", "value": ""}],
    "changedPropIds": ["at.search"],
}
# address -> who may. 200 or 404 (nothing there) is "may"; others get 403, or the way to the floor.
PAGES = {
    "/today/": DESK,
    "/today/strips/": DESK,
    "/today/arcs/?first=none": ASSIGN,
    "/today/reason/1/": ASSIGN,
    "/nests/1/routes/": DESK,
    "/nests/factors/": DESK,
    "/balance/measures/": DESK,
    "/nests/promises/": DESK,
    "/figures/promise/1@1790000000000000/": DESK,
    "/figures/load/north:2026-10-01@1790000000000000/": DESK,
    "/jobs/quotes/": QUOTES,
    "/jobs/quotes/new/": QUOTES,
    "/jobs/quotes/parts/": QUOTES,
    "/jobs/quotes/1/": QUOTES,
    "/figures/squareness/2026-10-01:1/": MONEY,
    f"/runs/{RUN}/": DESK,
    "/figures/run/none/": DESK,
    "/figures/piece/1/": DESK,
    "/figures/posting/1/": MONEY,
    "/figures/job/1/": MONEY,
    "/figures/job_kind/1:wear/": MONEY,
    "/figures/month_kind/2026-10-01:wear/": MONEY,
    "/wear/": DESK,
    "/balance/": DESK,
    "/balance/_dash-layout": DESK,
    "/balance/_dash-dependencies": DESK,
    "/cost/": MONEY,
    "/cost/_dash-layout": MONEY,
    "/cost/_dash-dependencies": MONEY,
    "/cost/jobs/1/": MONEY,
    "/cost/close/2026-10/": {"owner"},
}


@pytest.mark.parametrize("address", PAGES)
def test_a_stranger_is_sent_to_sign_in(shop, address):
    answer = Client().get(address)
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/sign-in/?next=")


@pytest.mark.parametrize("who", PEOPLE)
@pytest.mark.parametrize("address", PAGES)
def test_a_page_opens_to_those_who_may_and_to_no_one_else(shop, as_, who, address):
    answer = as_(who).get(address)
    if who in PAGES[address]:
        assert answer.status_code in (200, 404), answer.content[:200]
    elif who == "operator" and (PAGES[address] == DESK or address.startswith("/figures/")):
        assert (answer.status_code, answer.headers["Location"]) == (302, "/floor/")
    else:
        assert answer.status_code == 403


@pytest.mark.parametrize("who", PEOPLE)
@pytest.mark.parametrize(("page", "may"), [("cost", MONEY), ("balance", DESK)])
def test_a_callback_answers_those_who_may_and_no_one_else(shop, as_, who, page, may):
    address = f"/{page}/_dash-update-component"
    answer = as_(who).post(address, CALLBACK, content_type="application/json")
    assert answer.status_code == (200 if who in may else 403)


@pytest.mark.parametrize("page", ["cost", "balance"])
def test_a_strangers_callback_is_sent_to_sign_in(shop, page):
    address = f"/{page}/_dash-update-component"
    assert Client().post(address, CALLBACK, content_type="application/json").status_code == 302


@pytest.mark.parametrize("page", ["cost", "balance"])
def test_a_callback_without_the_forms_token_is_refused(shop, as_, page):
    client = as_("owner", enforce_csrf_checks=True)
    address = f"/{page}/_dash-update-component"
    assert client.post(address, CALLBACK, content_type="application/json").status_code == 403
    client.get(f"/{page}/")
    token = client.cookies["csrftoken"].value
    headers = {"X-CSRFToken": token}
    answer = client.post(address, CALLBACK, content_type="application/json", headers=headers)
    assert answer.status_code == 200


@pytest.mark.parametrize("address", ["/today/arcs/give/", "/today/arcs/back/", "/today/line/"])
def test_a_deed_without_the_forms_token_is_refused(shop, as_, address):
    assert as_("supervisor", enforce_csrf_checks=True).post(address, {}).status_code == 403


@pytest.mark.parametrize("address", ["/today/arcs/give/", "/today/arcs/back/", "/today/line/"])
def test_a_deed_is_never_done_by_opening_an_address(shop, as_, address):
    assert as_("supervisor").get(address).status_code == 405


@pytest.mark.parametrize("address", ["/cost/", "/balance/", "/today/", "/wear/"])
def test_nothing_may_load_from_outside(shop, as_, address):
    policy = as_("owner").get(address).headers["Content-Security-Policy"]
    parts = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert parts["default-src"] == "'self'"
    assert parts["connect-src"] == "'self'"
    assert parts["object-src"] == "'none'"
    assert "'unsafe-inline'" not in parts["script-src"]
    assert "http" not in policy


def test_the_dash_page_stands_in_the_frame_of_every_page(shop, as_):
    body = as_("owner").get("/cost/").content.decode()
    assert 'class="runhead"' in body
    assert "Ann Tiller, owner" in body
    assert "react-entry-point" in body


def test_who_sees_cost_alone_sees_neither_quote_nor_margin(shop, nobody):
    from django.contrib.auth.models import Permission

    from dashboards.access import reader_of

    nobody.user_permissions.add(Permission.objects.get(codename="see_cost"))
    reader = reader_of(type(nobody).objects.get(pk=nobody.pk))
    assert (reader.cost, reader.margin, reader.persons) == (True, False, False)
    nobody.user_permissions.set([Permission.objects.get(codename="see_margin")])
    alone = reader_of(type(nobody).objects.get(pk=nobody.pk))
    assert not alone.margin  # a margin gives the cost away
