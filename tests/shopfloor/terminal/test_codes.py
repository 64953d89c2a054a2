"""A screen is registered by a short code made at a desk."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopfloor.models import SecurityEvent, Terminal
from shopfloor.people.screen_codes import LASTS, WRONG, screen_code_make
from shopfloor.terminal.access import COOKIE

PAGE = "/floor/register/"


@pytest.fixture
def code(client, administrator, north):
    client.force_login(administrator)
    reply = client.post(reverse("terminals"), {"code": "n1", "name": "Tablet", "table": north.pk})
    return reply.context["made"][1]


def typed(code: str, client: Client | None = None) -> tuple[Client, str]:
    client = client or Client()
    reply = client.post(PAGE, {"code": code})
    return client, reply.headers.get("Location", "") or reply.content.decode()


def logged() -> dict[str, int]:
    return dict(SecurityEvent.objects.values_list("kind", "count"))


def test_a_code_registers_a_screen_nobody_is_signed_in_at(code, north):
    assert 'name="code"' in Client().get(PAGE).content.decode()
    screen, where = typed(code)
    assert where == "/floor/north/"
    assert "Who is at North?" in screen.get(where).content.decode()
    terminal = Terminal.objects.get()
    assert (terminal.code, terminal.table, terminal.active) == ("n1", north, True)
    assert logged() == {"screen_code_made": 1, "terminal_registered": 1}


def test_small_letters_and_spaces_are_the_same_code(code):
    assert typed(f" {code.lower().replace('-', ' ')} ")[1] == "/floor/north/"


def test_a_code_works_once(code):
    typed(code)
    second, said = typed(code)
    assert "registers no screen" in said
    assert COOKIE not in second.cookies
    assert logged()["screen_code_failed"] == 1


def test_a_code_ends_after_a_quarter_of_an_hour(north):
    before = timezone.now() - LASTS
    _, late = screen_code_make(code="n1", name="Tablet", table=north, now=before)
    assert "registers no screen" in typed(late)[1]
    soon = before + timedelta(minutes=1)
    _, there = screen_code_make(code="n1", name="Tablet", table=north, now=soon)
    assert typed(there)[1] == "/floor/north/"


def test_guessing_is_turned_away_and_the_right_code_waits_with_it(code):
    for _ in range(WRONG.most):
        assert "registers no screen" in typed("AAAA-BBBB")[1]
    assert "Too many codes" in typed(code)[1]
    assert logged()["screen_code_failed"] == WRONG.most
    assert logged()["screen_code_waits"] == 1
    assert Terminal.objects.get().token_hash == ""


def test_a_new_code_leaves_the_screen_alone_until_it_is_used(code, client, north):
    screen, where = typed(code)
    _, again = screen_code_make(code="n1", name="Tablet", table=north, now=timezone.now())
    assert screen.get(where).status_code == 200
    other, _ = typed(again)
    assert other.get(where).status_code == 200
    assert screen.get(where, headers={"accept": "text/html"}).headers["Location"] == "/floor/"


def test_a_withdrawn_screens_code_is_none(code, client):
    client.post(reverse("terminal_retire", args=[Terminal.objects.get().pk]))
    assert "registers no screen" in typed(code)[1]


def test_a_desk_sign_in_ends_on_the_screen(code, client):
    typed(code, client)
    assert "_auth_user_id" not in client.session
