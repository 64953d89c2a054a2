"""Signing in at a desk, a person's own settings, people, work and health."""

from __future__ import annotations

from datetime import UTC, datetime
from ipaddress import ip_network

import pytest
from django.urls import reverse

from shopfloor.models import Terminal, User, Work
from shopfloor.people.sign_in_limit import FAILURES, FAILURES_ANYWHERE
from tests.conftest import PASSWORD

LOGIN = "/sign-in/"


def sign_in(client, name, word, address="10.0.0.1"):
    return client.post(LOGIN, {"username": name, "password": word}, REMOTE_ADDR=address)


def test_a_right_password_opens_the_first_page_of_the_role(client, planner, shop):
    assert sign_in(client, "ines", PASSWORD)["Location"] == reverse("home")
    assert client.get("/")["Location"] == reverse("jobs")


def test_every_role_has_a_first_page(
    client, shop, operator, supervisor, planner, owner, administrator, nobody
):
    for user in (operator, supervisor, planner, owner, administrator, nobody):
        client.force_login(user)
        assert client.get("/").status_code == 302


def test_after_too_many_failures_even_the_right_password_waits(client, planner, shop):
    for _ in range(FAILURES):
        assert sign_in(client, "ines", "wrong").status_code == 200
    answer = sign_in(client, "Ines", PASSWORD)
    assert "Too many failed sign-ins" in answer.content.decode()
    assert "_auth_user_id" not in client.session


def test_the_wait_is_for_that_name_and_address(client, planner, owner, shop):
    for _ in range(FAILURES):
        sign_in(client, "ines", "wrong")
    assert sign_in(client, "ines", PASSWORD, "10.0.0.2").status_code == 302
    assert sign_in(client, "ann", PASSWORD).status_code == 302


def test_the_address_is_the_one_a_trusted_proxy_tells(client, planner, shop, settings):
    settings.TRUSTED_PROXIES = (ip_network("10.0.0.0/8"),)

    def enter(word, forwarded):
        data = {"username": "ines", "password": word}
        return client.post(
            LOGIN, data, REMOTE_ADDR="10.0.0.1", headers={"X-Forwarded-For": forwarded}
        )

    for n in range(FAILURES):
        enter("wrong", f"198.51.100.{n}, 203.0.113.5")  # the client makes up a hop each time
    assert enter(PASSWORD, "198.51.100.9, 203.0.113.5").status_code == 200
    assert enter(PASSWORD, "203.0.113.6").status_code == 302


def test_successes_count_as_no_failures_anywhere(client, planner, shop):
    for n in range(FAILURES_ANYWHERE + 2):
        assert sign_in(client, "ines", PASSWORD, f"10.0.1.{n}").status_code == 302
        client.logout()
    for n in range(FAILURES_ANYWHERE):
        sign_in(client, "ines", "wrong", f"10.0.2.{n}")
    assert sign_in(client, "ines", PASSWORD, "10.0.3.1").status_code == 200


def test_a_success_forgets_the_failures(client, planner, shop):
    for _ in range(FAILURES - 1):
        sign_in(client, "ines", "wrong")
    assert sign_in(client, "ines", PASSWORD).status_code == 302
    client.logout()
    assert sign_in(client, "ines", "wrong").status_code == 200
    assert sign_in(client, "ines", PASSWORD).status_code == 302


def test_signing_in_leads_to_no_other_site(client, planner, shop):
    answer = client.post(
        LOGIN, {"username": "ines", "password": PASSWORD, "next": "https://elsewhere.example/"}
    )
    assert answer["Location"] == reverse("home")


def test_signing_out_takes_a_form(client, planner, shop):
    client.force_login(planner)
    assert client.get(reverse("logout")).status_code == 405
    client.post(reverse("logout"))
    assert client.get(reverse("jobs")).status_code == 302


def test_units_and_paper_are_ones_own(client, planner, owner, shop):
    client.force_login(planner)
    client.post(reverse("preferences"), {"units": "inch", "theme": "dark"})
    planner.refresh_from_db()
    assert (planner.units, planner.theme) == ("inch", "dark")
    assert 'data-theme="dark"' in client.get(reverse("preferences")).content.decode()
    owner.refresh_from_db()
    assert owner.units == "metric"


def test_a_changed_password_keeps_this_session_only(client, planner, shop):
    client.force_login(planner)
    new = "another clean plate"
    client.post(
        reverse("password"),
        {"old_password": PASSWORD, "new_password1": new, "new_password2": new},
    )
    assert client.get(reverse("jobs")).status_code == 200
    planner.refresh_from_db()
    assert planner.check_password(new)


class TestPeople:
    @pytest.fixture
    def page(self, client, administrator, shop):
        client.force_login(administrator)
        return client

    def test_a_new_person_has_the_rights_of_the_role(self, page):
        page.post(
            reverse("person_add"),
            {"username": "rosa", "first_name": "Rosa", "last_name": "Lind", "role": "planner",
             "badge": "B-9", "password": "a good long word"},
        )  # fmt: skip
        rosa = User.objects.get(username="rosa")
        assert rosa.has_perm("shopfloor.plan_work")
        assert not rosa.has_perm("shopfloor.see_cost")

    def test_a_short_password_or_a_taken_badge_is_refused(self, page, operator):
        values = {"username": "rosa", "first_name": "R", "last_name": "L", "role": "planner"}
        for more in ({"password": "short"}, {"password": "a good long word", "badge": "B-milo"}):
            assert page.post(reverse("person_add"), {**values, **more}).status_code == 200
        assert not User.objects.filter(username="rosa").exists()

    def test_cost_without_wages_can_be_given(self, page, planner):
        url = reverse("person", args=[planner.pk])
        page.post(url, {"form": "rights", "rights-codes": ["see_cost"]})
        planner = User.objects.get(pk=planner.pk)
        assert planner.has_perm("shopfloor.see_cost")
        assert not planner.has_perm("shopfloor.see_wage")

    def test_nobody_takes_their_own_administration_away(self, page, administrator):
        url = reverse("person", args=[administrator.pk])
        page.post(
            url,
            {"form": "person", "person-first_name": "T", "person-last_name": "M",
             "person-role": "operator", "person-active": "on"},
        )  # fmt: skip
        administrator.refresh_from_db()
        assert administrator.role == "administrator"

    def test_a_pin_is_reset_and_an_easy_one_refused(self, page, operator):
        from shopfloor.people.badges import pin_verify

        url = reverse("person", args=[operator.pk])
        now = datetime(2026, 10, 8, tzinfo=UTC)
        page.post(url, {"form": "pin", "pin-pin": "1234"})
        assert pin_verify(user=operator, pin="2468", now=now)
        page.post(url, {"form": "pin", "pin-pin": "5093"})
        assert pin_verify(user=operator, pin="5093", now=now)

    def test_a_screens_code_is_shown_once(self, page, north):
        url = reverse("terminals")
        answer = page.post(url, {"code": "north-tablet", "name": "North", "table": north.pk})
        code = answer.context["made"][1]
        assert code in answer.content.decode()
        assert code not in page.get(url).content.decode()
        assert "not registered yet" in page.get(url).content.decode()
        terminal = Terminal.objects.get()
        assert code.replace("-", "") not in terminal.code_hash
        page.post(reverse("terminal_retire", args=[terminal.pk]))
        terminal.refresh_from_db()
        assert (terminal.active, terminal.code_hash) == (False, "")


def test_failed_work_is_tried_again_once(client, administrator, shop):
    now = datetime(2026, 10, 8, tzinfo=UTC)
    row = Work.objects.create(
        kind="nest", key="7", state="failed", attempts=5, error="<b>boom</b>", wanted_at=now
    )
    client.force_login(administrator)
    assert "&lt;b&gt;boom" in client.get(reverse("work")).content.decode()
    client.post(reverse("work_act", args=[row.pk]), {"do": "retry"})
    assert list(Work.objects.values_list("kind", "key", "state")) == [("nest", "7", "waiting")]


def test_health_says_what_it_knows_to_anyone(client, feed):
    Work.objects.create(kind="nest", key="8", wanted_at=datetime(2026, 10, 8, tzinfo=UTC))
    told = client.get("/healthz").json()
    assert told["status"] == "ok"
    assert told["intake_age_s"] is None
    assert told["work_waiting"] >= 1
    assert told["work_failed"] == 0
