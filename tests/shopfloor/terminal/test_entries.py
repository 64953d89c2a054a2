"""What arrives from a screen, and what is answered."""

from __future__ import annotations

import uuid

import pytest
from django.core import signing
from django.test import Client
from django.utils import timezone

from shopfloor.models import Action, Run, Terminal
from shopfloor.people.badges import terminal_register
from shopfloor.people.screen_sign_ins import signin_begin
from shopfloor.terminal.tokens import SALT, entry_signin, entry_token
from tests.conftest import PIN

pytestmark = pytest.mark.django_db
URL = "/floor/north/actions"


@pytest.fixture
def here(signed_in):
    return Terminal.objects.get(code="north-1")


def stay(person, here):
    return signin_begin(person=person, terminal=here, table=here.table, now=timezone.now())


def entry(person, here, kind, payload, **more):
    now = timezone.now().isoformat()
    return {
        "id": str(uuid.uuid4()),
        "kind": kind,
        "payload": payload,
        "by": entry_token(stay(person, here)),
        "device_at": now,
        "sent_at": now,
        **more,
    }


def deliver(client, *entries):
    return client.post(URL, {"actions": list(entries)}, content_type="application/json")


def test_an_entry_delivered_twice_is_applied_once(signed_in, here, floor, operator):
    start = entry(operator, here, "start", {"queue_item": floor.items[0].pk})
    first = deliver(signed_in, start).json()["results"]
    again = deliver(signed_in, start, start).json()["results"]
    assert [one["state"] for one in first + again] == ["applied"] * 3
    assert Run.objects.count() == 1


@pytest.mark.parametrize(
    "body", ["[" * 100_000, '{"actions": [{"id": NaN}]}', '{"actions": ' + "9" * 5000 + "}", "\0"]
)
def test_what_is_no_json_is_turned_away_whole(signed_in, here, body):
    answer = signed_in.post(URL, body, content_type="application/json")
    assert answer.status_code == 400
    assert answer.json()["message"].startswith("This is not a delivery")


def test_entries_are_applied_in_the_order_they_came(signed_in, here, floor, operator):
    kinds = ["start", "stop", "resume", "finish"]
    payloads = [{"queue_item": floor.items[0].pk}, {}, {}, {"exceptions": []}]
    sent = [entry(operator, here, *pair) for pair in zip(kinds, payloads, strict=True)]
    results = deliver(signed_in, *sent).json()["results"]
    assert [(one["kind"], one["state"]) for one in results] == [(k, "applied") for k in kinds]
    assert Run.objects.get().state == "finished"


def test_an_entry_belongs_to_who_made_it_not_to_who_is_signed_in(
    signed_in, here, floor, operator, supervisor
):
    late = entry(operator, here, "start", {"queue_item": floor.items[0].pk})
    signed_in.post("/floor/north/sign-in", {"badge": supervisor.badge, "pin": PIN})
    deliver(signed_in, late)
    assert Action.objects.get().person == operator


def test_what_waited_is_taken_after_everybody_signed_out(signed_in, here, floor, operator):
    late = entry(operator, here, "start", {"queue_item": floor.items[0].pk})
    signed_in.post("/floor/north/sign-out")
    assert deliver(signed_in, late).json()["results"][0]["state"] == "applied"


def test_an_entry_without_a_known_maker_is_refused_and_stores_nothing(signed_in, here, floor):
    for by in ("", "nonsense", signing.dumps({"person": 1, "terminal": here.pk}, salt="other")):
        sent = entry(floor.revision.made_by, here, "stop", {}, by=by)
        (result,) = deliver(signed_in, sent).json()["results"]
        assert (result["id"], result["state"]) == (sent["id"], "refused")
    assert not Action.objects.exists()


def test_a_maker_s_mark_of_another_screen_is_not_taken(here, north, operator):
    other, _ = terminal_register(code="north-2", name="another", table=north)
    theirs, ours = stay(operator, other), stay(operator, here)
    where = {"terminal": here, "table": north}
    assert entry_signin(token=entry_token(theirs), **where) is None
    assert entry_signin(token=entry_token(ours), **where) == ours
    for forged in ("1 or 1", {"person": operator.pk}, True):
        assert entry_signin(token=signing.dumps(forged, salt=SALT), **where) is None


def test_someone_without_the_right_is_refused(signed_in, here, floor, owner):
    sent = entry(owner, here, "start", {"queue_item": floor.items[0].pk})
    (result,) = deliver(signed_in, sent).json()["results"]
    assert result["state"] == "refused"
    assert not Run.objects.exists()


def test_a_screen_cannot_write_for_another_table(signed_in, here, floor, operator, south):
    sent = entry(operator, here, "start", {"queue_item": floor.items[0].pk, "table": south.code})
    (result,) = deliver(signed_in, sent).json()["results"]
    assert result["state"] == "refused"
    assert result["message"].startswith("This screen is beside North")
    assert not Run.objects.exists()


def test_an_unregistered_device_delivers_nothing(client, here, floor, operator):
    sent = entry(operator, here, "start", {"queue_item": floor.items[0].pk})
    assert deliver(client, sent).status_code == 403
    assert not Action.objects.exists()


def test_delivering_needs_the_csrf_token(token, here, floor, operator):
    client = Client(enforce_csrf_checks=True)
    client.cookies["kerfbook_terminal"] = token
    sent = entry(operator, here, "start", {"queue_item": floor.items[0].pk})
    assert deliver(client, sent).status_code == 403
    page = client.get("/floor/north/")
    reply = client.post(
        URL,
        {"actions": [sent]},
        content_type="application/json",
        headers={"X-CSRFToken": page.cookies["csrftoken"].value},
    )
    assert reply.json()["results"][0]["state"] == "applied"


@pytest.mark.parametrize(
    "body",
    ["", "[]", "{}", '{"actions": 3}', '{"actions": {}}', "\udc80".encode("utf-8", "replace")],
)
def test_what_is_no_delivery_is_said_to_be_none(signed_in, body):
    reply = signed_in.post(URL, body, content_type="application/json")
    assert reply.status_code == 400
    assert "not a delivery" in reply.json()["message"]


def test_broken_entries_are_refused_and_those_behind_them_go_on(signed_in, here, floor, operator):
    sent = [
        "text",
        entry(operator, here, "stop", {}, id="not-a-uuid"),
        entry(operator, here, "stop", [1]),
        entry(operator, here, "stop", {}, device_at="yesterday"),
        entry(operator, here, "dance", {}),
        entry(operator, here, "start", {"queue_item": floor.items[0].pk}),
    ]
    states = [one["state"] for one in deliver(signed_in, *sent).json()["results"]]
    assert states == ["refused"] * 5 + ["applied"]


def test_an_entry_that_breaks_the_program_is_logged_whole_and_holds_up_nothing(
    signed_in, here, floor, operator, monkeypatch, caplog
):
    def broken(**kwargs):
        if kwargs["envelope"]["kind"] == "stop":
            raise RuntimeError("boom")
        return action_receive(**kwargs)

    from shopfloor.terminal.views import actions

    action_receive = actions.action_receive
    monkeypatch.setattr(actions, "action_receive", broken)
    sent = [
        entry(operator, here, "stop", {"note": "kept in the log"}),
        entry(operator, here, "start", {"queue_item": floor.items[0].pk}),
    ]
    states = [one["state"] for one in deliver(signed_in, *sent).json()["results"]]
    assert states == ["refused", "applied"]
    assert "kept in the log" in caplog.text


def test_while_the_database_is_busy_the_rest_is_left_to_be_sent_again(
    signed_in, here, floor, operator, monkeypatch
):
    from django.db import OperationalError

    from shopfloor.terminal.views import actions

    receive, calls = actions.action_receive, []

    def busy(**kwargs):
        calls.append(kwargs)
        if len(calls) == 2:
            raise OperationalError("database is locked")
        return receive(**kwargs)

    monkeypatch.setattr(actions, "action_receive", busy)
    sent = [
        entry(operator, here, "start", {"queue_item": floor.items[0].pk}),
        entry(operator, here, "stop", {}),
        entry(operator, here, "resume", {}),
    ]
    results = deliver(signed_in, *sent).json()["results"]
    assert [one["id"] for one in results] == [sent[0]["id"]]
    assert len(calls) == 2


def test_answers_carry_no_money_and_no_inner_memo(signed_in, here, floor, operator):
    sent = [
        entry(operator, here, "start", {"queue_item": floor.items[0].pk}),
        entry(operator, here, "finish", {"exceptions": []}),
    ]
    text = deliver(signed_in, *sent).content.decode()
    assert "undo" not in text
    assert "minor" not in text
    assert "price" not in text


def test_a_hand_over_carries_the_run_on_under_the_new_name(
    signed_in, here, floor, operator, supervisor
):
    deliver(signed_in, entry(operator, here, "start", {"queue_item": floor.items[0].pk}))
    signed_in.post("/floor/north/sign-in", {"badge": supervisor.badge, "pin": PIN, "beside": "yes"})
    run = Run.objects.get()
    assert run.state == "open"
    assert [one.operator for one in run.segments.order_by("pk")] == [operator, supervisor]
