"""Odd requests to every address, form, Dash callback and floor entry, as every kind of person.
None may be answered by a failure.

The tries are bounded in number and time and follow from a seed, which is printed:
KERFBOOK_FUZZ_SEED repeats a run, KERFBOOK_FUZZ_TIMES=20 makes it twenty times as long.
"""

from __future__ import annotations

import logging
import os
import random
import time
import uuid
from collections import Counter
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from shopfloor.actions.kinds import KINDS
from shopfloor.demo.load import feed_text, load, port_named
from shopfloor.models import Role, Table, Terminal, User
from shopfloor.people.badges import terminal_register
from shopfloor.people.screen_sign_ins import signin_begin
from shopfloor.terminal.access import COOKIE, SESSION
from shopfloor.terminal.tokens import entry_token
from tests.fuzz import values
from tests.fuzz.addresses import addresses, real
from tests.fuzz.asking import Asker

pytestmark = [pytest.mark.django_db, pytest.mark.long]

SEED = int(os.environ.get("KERFBOOK_FUZZ_SEED", "20261006"))
TIMES = float(os.environ.get("KERFBOOK_FUZZ_TIMES", "1"))
EACH, CALLBACKS, ENTRIES = 8, 60, 150  # tries an address, a Dash page, and at a screen
MOST_S = 12.0  # for each of the three
CALLBACK = {
    "output": "page.children",
    "outputs": {"id": "page", "property": "children"},
    "inputs": [{"id": "at", "property": "search", "value": "?month=2026-10"}],
    "changedPropIds": ["at.search"],
}


@pytest.fixture
def house(settings):
    """The example shop with three days behind it, and one person of each kind."""
    now = timezone.now()
    load(now=now, begin=now - timedelta(days=3))
    from telemetry.services import feed_register

    port_named("north")
    feed_register(name="north", text=feed_text("north"))
    people = {role: User.objects.filter(role=role).first() for role in Role.values}
    people["nobody"] = User.objects.create(username="sam", first_name="Sam", last_name="Quill")
    return {name: user for name, user in people.items() if user is not None}


def asker(who, user, chance, found):
    client = Client()
    if user is not None:
        client.force_login(user)
    return Asker(who, client, chance, found)


def told(askers):
    lines = [
        f"{fault.count} x {fault.why}\n    {fault.said}"
        for one in askers
        for fault in one.faults.values()
    ]
    asked = sum(one.asked for one in askers)
    statuses = dict(sum((one.statuses for one in askers), Counter()))
    return f"seed {SEED}, {asked} requests {statuses}, {len(lines)} kinds of failure\n" + "\n".join(
        lines
    )


def judged(askers):
    text = told(askers)
    statuses = sum((one.statuses for one in askers), Counter())
    assert statuses[200], f"nothing was answered: {statuses}"
    logging.getLogger("tests.fuzz").warning(text.partition("\n")[0])
    assert not any(one.faults for one in askers), text


def until():
    return time.monotonic() + MOST_S * TIMES


def test_no_address_fails_whatever_it_is_asked(house):
    chance = random.Random(SEED)
    found = real()
    askers = [asker(name, user, chance, found) for name, user in house.items()]
    askers.append(asker("stranger", None, chance, found))
    every = [one for one in addresses() for _ in range(int(EACH * TIMES) or 1)]
    chance.shuffle(every)
    assert {one.route for one in every} >= {"/jobs/<bigint:pk>/", "/cost/<rest>", "/floor/"}
    end = until()
    for address in every:
        chance.choice(askers).odd(address)
        if time.monotonic() > end:
            break
    judged(askers)


def test_no_dash_page_fails_whatever_its_callbacks_are_sent(house):
    chance = random.Random(SEED + 1)
    one = asker("owner", house["owner"], chance, real())
    end = until()
    for _ in range(int(CALLBACKS * TIMES)):
        for page in ("/cost/", "/balance/"):
            for inner in ("_dash-layout", "_dash-dependencies"):
                if chance.random() < 0.1:
                    one.send("GET", page + inner)
            path = page + "_dash-update-component"
            if chance.random() < 0.15:
                one.send("POST", path, body=values.body(chance), type=chance.choice(values.TYPES))
            elif chance.random() < 0.5:
                asked = dict(CALLBACK)
                name = chance.choice(["month", "day", "weeks", "table", "torch", "from", "to", "x"])
                search = f"?{name}={values.text(chance)}"
                asked["inputs"] = [{"id": "at", "property": "search", "value": search}]
                one.json(path, asked)
            else:
                one.json(path, values.bent(CALLBACK, chance))
        if time.monotonic() > end:
            break
    judged([one])


def test_no_entry_of_a_screen_fails_whatever_it_says(house, caplog):
    chance = random.Random(SEED + 2)
    table = Table.objects.order_by("order").first()
    terminal, token = terminal_register(code="fuzz", name="Fuzz", table=table)
    operator = house["operator"]
    signin = signin_begin(terminal=terminal, table=table, person=operator, now=timezone.now())
    found = real()
    one = asker("screen", operator, chance, found)
    one.client.cookies[COOKIE] = token
    session = one.client.session
    session[SESSION] = {table.code: {"signins": [signin.pk], "touched": str(timezone.now())}}
    session.save()
    one.keep_cookies()
    floor = [each for each in addresses() if each.route.startswith("/floor/")]
    found.slugs = [table.code]
    end = until()
    caplog.set_level(logging.ERROR)
    for _ in range(int(ENTRIES * TIMES)):
        now = timezone.now().isoformat()
        entry = {
            "id": str(uuid.UUID(int=chance.getrandbits(128))),
            "kind": chance.choice(list(KINDS)),
            "by": entry_token(signin),
            "device_at": now,
            "sent_at": now,
            "payload": payload(chance, found),
        }
        if chance.random() < 0.3:
            entry = values.bent(entry, chance)
        answer = one.json(f"/floor/{table.code}/actions", {"actions": [entry]})
        broke = [record for record in caplog.records if "broke" in record.getMessage()]
        if broke:
            text = "".join(logging.Formatter().formatException(each.exc_info) for each in broke)
            one.raised.append(broke[-1].exc_info[1])
            one._note(f"entry {entry} -> {answer.content[:200]!r} {text[-300:]}")
            caplog.clear()
        if chance.random() < 0.5:
            one.odd(chance.choice(floor))
        if time.monotonic() > end:
            break
    assert Terminal.objects.filter(pk=terminal.pk, active=True).exists()
    judged([one])


NAMES = ["table", "torch", "run", "nest", "revision", "queue", "sheet", "tray", "piece", "parts",
         "contour", "reason", "note", "text", "stoppage", "set", "kind", "u_mm", "heat", "remnant",
         "length_mm", "width_mm", "good", "scrapped", "at", "person", "action", "minutes", "line",
         "check", "passed", "orifice_round", "drained", "pressure_kpa", "partial", "exceptions",
         "quantity", "badge", "pin", "job", "method", "angle"]  # fmt: skip


def payload(chance, found):
    said = {}
    for name in chance.sample(NAMES, chance.randrange(1, 9)):
        real_one = chance.choice([*found.numbers, *(str(one) for one in found.uuids), "north", "1"])
        said[name] = real_one if chance.random() < 0.5 else values.structure(chance)
    return said
