"""Help leads to pages that are there, to everybody it is for, and uses the shop's own words."""

from __future__ import annotations

import pytest
from django.urls import reverse

from shopfloor.models import Role
from shopfloor.web.help_text import HELPS


def test_every_role_has_help():
    assert set(HELPS) == set(Role.values)


@pytest.mark.django_db
@pytest.mark.parametrize("role", Role.values)
def test_help_leads_to_pages_its_reader_may_open(role, request, client, shop, north):
    client.force_login(request.getfixturevalue(role))
    assert client.get("/help/").headers["Location"] == f"/help/{role}/"
    text = client.get(f"/help/{role}/").content.decode()
    for label, name, _ in HELPS[role].pages:
        assert f'href="{reverse(name)}">{label}</a>' in text
        assert client.get(reverse(name)).status_code == 200, name


@pytest.mark.django_db
@pytest.mark.parametrize("reader", Role.values)
@pytest.mark.parametrize("role", Role.values)
def test_help_for_another_role_leads_only_where_its_reader_may_go(
    role, reader, request, client, shop, north
):
    client.force_login(request.getfixturevalue(reader))
    text = (
        client.get(f"/help/{role}/").content.decode().partition("<main")[2].partition("</main>")[0]
    )
    for label, name, _ in HELPS[role].pages:
        opens = client.get(reverse(name)).status_code == 200
        assert (f'href="{reverse(name)}">{label}</a>' in text) == opens, name


def test_every_way_of_the_terminal_and_the_find_box_are_told():
    """What an operator can touch on the terminal's screens, by the words on its keys."""
    told = {head for head, _ in HELPS["operator"].ways}
    assert {"Start", "Stop", "Change", "Restart", "Sheet", "Air", "Finish", "Undo"} <= told
    for role in ("supervisor", "planner", "owner", "administrator"):
        assert "find" in [name for _, name, _ in HELPS[role].pages], role


@pytest.mark.django_db
def test_help_is_in_the_running_head_and_on_the_terminal(client, supervisor, shop, north):
    client.force_login(supervisor)
    assert '<a href="/help/">Help</a>' in client.get("/jobs/").content.decode()
    at_table = client.get("/floor/help/?at=north").content.decode()
    assert 'href="/floor/north/"' in at_table
    assert "never says one is safe" in at_table


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["", "boss", "../operator"])
def test_help_for_nobody_is_not_found(client, operator, role):
    client.force_login(operator)
    assert client.get(f"/help/{role}x/").status_code == 404


@pytest.mark.django_db
def test_strangers_sign_in_first(client):
    assert client.get("/help/owner/").status_code == 302


def test_where_hands_go_near_harm_the_caution_stands():
    for role in ("operator", "supervisor"):
        told = " ".join(HELPS[role].cautions)
        for reference in ("1910.147", "1910.133", "1910.1026", "Z49.1", "local code"):
            assert reference in told, (role, reference)
