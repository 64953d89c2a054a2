"""A sign-in at a screen ends, and with it what its page may still send."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from shopfloor.models import Action, Run, ScreenSignIn, SignInEnd, Stoppage, Terminal
from shopfloor.people.badges import pin_set, terminal_retire
from shopfloor.people.services import person_edit, rights_set
from shopfloor.terminal.tokens import entry_token
from shopfloor.terminal.views import actions as view
from tests.conftest import PIN

pytestmark = pytest.mark.django_db
T0 = timezone.now().replace(year=2026, month=6, day=1, hour=12)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def at():
    """Moves the clock of the whole program."""
    with time_machine.travel(T0, tick=False) as clock:
        yield lambda moment: clock.move_to(moment)


@pytest.fixture
def signed_in(at, screen, floor, operator):
    screen.post(reverse("floor:sign_in", args=["north"]), {"badge": operator.badge, "pin": PIN})
    return screen


@pytest.fixture
def signin(signed_in):
    return ScreenSignIn.objects.get()


def sends(client, signin, made, *, kind="stop", table="north", **payload):
    """An entry made at a time and delivered now."""
    now = timezone.now().isoformat()
    entry = {
        "id": str(uuid.uuid4()), "kind": kind, "payload": payload, "by": entry_token(signin),
        "device_at": made.isoformat(), "sent_at": now,
    }  # fmt: skip
    reply = client.post(
        f"/floor/{table}/actions", {"actions": [entry]}, content_type="application/json"
    )
    return reply.json()["results"][0] if reply.status_code == 200 else reply.status_code


def test_the_page_carries_the_sign_in_and_signing_out_ends_it(signed_in, signin, at):
    assert entry_token(signin) in signed_in.get("/floor/north/").content.decode()
    at(T0 + MINUTE)
    signed_in.post("/floor/north/sign-out")
    signin.refresh_from_db()
    assert (signin.ended_at, signin.ended_by) == (T0 + MINUTE, "signed_out")
    assert signed_in.get("/floor/north/state").status_code == 401


def test_what_was_entered_before_signing_out_is_taken_and_flagged(signed_in, signin, at):
    at(T0 + 10 * MINUTE)
    signed_in.post("/floor/north/sign-out")
    at(T0 + 60 * MINUTE)
    assert sends(signed_in, signin, T0 + 9 * MINUTE)["state"] == "applied"
    assert (Stoppage.objects.get().started_at, Action.objects.get().flag) == (
        T0 + 9 * MINUTE,
        "signed_out",
    )


@pytest.mark.parametrize("minutes", [-30, 11, 60])
def test_what_was_entered_before_or_after_the_stay_is_kept_and_refused(
    signed_in, signin, at, minutes
):
    at(T0 + 10 * MINUTE)
    signed_in.post("/floor/north/sign-out")
    at(T0 + 60 * MINUTE)
    assert sends(signed_in, signin, T0 + minutes * MINUTE)["state"] == "refused"
    kept = Action.objects.get()
    assert (kept.state, kept.flag) == ("refused", "signed_out")
    assert "was not signed in here at that time" in kept.result["message"]


def test_the_next_to_sign_in_ends_the_stay_of_the_one_before(signed_in, signin, at, supervisor):
    at(T0 + MINUTE)
    signed_in.post("/floor/north/sign-in", {"badge": supervisor.badge, "pin": PIN})
    at(T0 + 5 * MINUTE)
    assert sends(signed_in, signin, T0 + 4 * MINUTE)["state"] == "refused"
    theirs = ScreenSignIn.objects.get(person=supervisor)
    assert sends(signed_in, theirs, T0 + 4 * MINUTE)["state"] == "applied"


def test_a_hand_over_leaves_both_signed_in(signed_in, signin, at, supervisor):
    at(T0 + MINUTE)
    signed_in.post("/floor/north/sign-in", {"badge": supervisor.badge, "pin": PIN, "beside": "yes"})
    assert ScreenSignIn.objects.filter(ended_at=None).count() == 2
    assert sends(signed_in, signin, T0 + MINUTE)["state"] == "applied"


def test_a_screen_left_idle_ends_the_stay_when_it_is_noticed(signed_in, signin, at):
    """Offline for an hour and worked at all the time: what was entered then counts."""
    at(T0 + 60 * MINUTE)
    assert signed_in.get("/floor/north/state").status_code == 401
    assert sends(signed_in, signin, T0 + 50 * MINUTE)["state"] == "applied"
    assert Action.objects.get().flag == "signed_out"


def pin(operator, administrator, terminal):
    pin_set(user=operator, pin="8306")


def inactive(operator, administrator, terminal):
    person_edit(user=operator, first_name="Milo", last_name="Brandt", role="operator",
                badge=operator.badge, active=False, by=administrator)  # fmt: skip


def another_role(operator, administrator, terminal):
    person_edit(user=operator, first_name="Milo", last_name="Brandt", role="planner",
                badge=operator.badge, active=True, by=administrator)  # fmt: skip


def withdrawn(operator, administrator, terminal):
    terminal_retire(terminal=terminal)


@pytest.mark.parametrize(
    ("ends", "how"), [(pin, "pin"), (inactive, "rights"), (another_role, "rights"),
                      (withdrawn, "withdrawn")]
)  # fmt: skip
@pytest.mark.parametrize("signed_out", [False, True])
def test_a_changed_pin_a_lost_right_and_a_withdrawn_screen_end_it_for_good(
    signed_in, signin, at, operator, administrator, ends, how, signed_out
):
    """Also where the person had signed out before: nothing of the stay counts any more."""
    if signed_out:
        signed_in.post("/floor/north/sign-out")
    at(T0 + 10 * MINUTE)
    ends(operator, administrator, signin.terminal)
    signin.refresh_from_db()
    assert signin.ended_by == how
    assert signed_in.get("/floor/north/state").status_code in (401, 403)
    result = sends(signed_in, signin, T0 + 5 * MINUTE)
    if how == "withdrawn":
        assert result == 403  # the tablet keeps it
        return
    assert result["state"] == "refused"
    kept = Action.objects.get()
    assert (kept.person, kept.state) == (operator, "refused")
    assert not Stoppage.objects.exists()


def test_an_extra_right_taken_away_ends_it_too(at, screen, floor, planner, administrator):
    rights_set(user=planner, codes=["work_floor"], by=administrator)
    screen.post("/floor/north/sign-in", {"badge": planner.badge, "pin": PIN})
    assert ScreenSignIn.objects.get().ended_at is None
    rights_set(user=planner, codes=[], by=administrator)
    assert ScreenSignIn.objects.get().ended_by == "rights"


def test_a_new_badge_or_name_ends_nothing(signed_in, signin, operator, administrator):
    person_edit(user=operator, first_name="Milo", last_name="Brand", role="operator",
                badge="B-new", active=True, by=administrator)  # fmt: skip
    signin.refresh_from_db()
    assert signin.ended_at is None


def test_a_stay_that_nobody_ended_is_over_after_a_week(signed_in, signin, at):
    at(T0 + timedelta(days=9))
    result = sends(signed_in, signin, T0 + timedelta(days=8, hours=23))
    assert result["state"] == "refused"
    assert "over a week old" in result["message"]


def test_old_stays_are_not_kept(signed_in, signin, at, supervisor):
    at(T0 + timedelta(days=22))
    signed_in.post("/floor/north/sign-in", {"badge": supervisor.badge, "pin": PIN})
    assert [one.person for one in ScreenSignIn.objects.all()] == [supervisor]


class TestMoved:
    """A tablet taken from North to South and registered there."""

    @pytest.fixture
    def moved(self, signed_in, signin, at, south, supervisor):
        at(T0 + 30 * MINUTE)
        signed_in.force_login(supervisor)
        signed_in.post("/floor/register/", {"name": "tablet", "table": south.pk})
        return signed_in

    def test_it_stays_the_same_screen(self, moved, signin, south):
        screen = Terminal.objects.get()
        assert (screen, screen.table) == (signin.terminal, south)
        signin.refresh_from_db()
        assert signin.ended_by == SignInEnd.MOVED

    def test_what_was_made_at_the_old_table_goes_in_there_and_is_flagged(self, moved, signin, at):
        at(T0 + 40 * MINUTE)
        assert sends(moved, signin, T0 + 20 * MINUTE)["state"] == "applied"
        assert Stoppage.objects.get().table.code == "north"
        assert Action.objects.get().flag == "moved"

    def test_what_is_made_after_is_not(self, moved, signin, at):
        at(T0 + 40 * MINUTE)
        assert sends(moved, signin, T0 + 35 * MINUTE)["state"] == "refused"
        assert Action.objects.get().flag == "moved"
        assert not Stoppage.objects.exists()

    def test_the_old_sign_in_is_none_at_the_new_table(self, moved, signin, at):
        assert sends(moved, signin, T0 + 20 * MINUTE, table="south")["state"] == "refused"
        assert not Stoppage.objects.exists()

    def test_the_office_sees_it(self, moved, signin, at, client, supervisor):
        sends(moved, signin, T0 + 20 * MINUTE)
        client.force_login(supervisor)
        page = client.get(reverse("late")).content.decode()
        assert "Milo Brandt stopped" in page
        assert "the screen was moved to another table" in page


def test_a_delivery_too_large_is_turned_away_and_nothing_of_it_lost(signed_in, signin):
    body = json.dumps({"actions": [], "more": "x" * view.MOST_BYTES})
    reply = signed_in.post("/floor/north/actions", body, content_type="application/json")
    assert reply.status_code == 413
    assert "6 MB" in reply.json()["message"]
    assert not Action.objects.exists()


def test_a_run_of_another_table_is_not_finished_from_this_screen(
    signed_in, signin, floor, south, operator
):
    """As the hole was found: South's run, its id taken from elsewhere, sent from North."""
    from shopfloor.runs.services import run_open

    run = run_open(revision=floor.revision, table=south, torch=south.torches.get(),
                   operator=operator, at=T0)  # fmt: skip
    for kind, payload in (("finish", {"exceptions": []}), ("check", {"passed": True})):
        result = sends(signed_in, signin, T0, kind=kind, run=str(run.pk), **payload)
        assert result["state"] == "refused"
        assert "belongs to South" in result["message"]
    assert Run.objects.get().state == "open"
    assert Action.objects.filter(state="refused").count() == 2


@pytest.mark.parametrize(
    ("away", "idle_s", "stays"),
    [
        (timedelta(minutes=40), "20", True),  # touched all along, without a network
        (timedelta(minutes=40), "2400", False),  # nobody was there either
        (timedelta(minutes=40), "", False),
        (timedelta(minutes=40), "-20", False),
        (timedelta(minutes=40), "9" * 14, False),  # three million years
        (timedelta(hours=13), "20", False),
    ],
)
def test_who_worked_without_a_network_stays_signed_in(signed_in, floor, away, idle_s, stays):
    session = signed_in.session
    kept = session["floor"]
    kept["north"]["touched"] = (timezone.now() - away).isoformat()
    session["floor"] = kept
    session.save()
    answer = signed_in.get("/floor/north/state", {"idle_s": idle_s})
    assert answer.status_code == (200 if stays else 401)


@pytest.mark.parametrize(("counted_s", "stays"), [(2395, True), (60, False)])
def test_time_a_screen_slept_through_is_no_work_at_it(signed_in, floor, counted_s, stays):
    """Touched 20 s ago by its own count, which stands still while it sleeps."""
    before = timezone.now() - timedelta(minutes=40)
    session = signed_in.session
    session["floor"]["north"]["touched"] = before.isoformat()
    session.save()
    told = {"idle_s": "20", "heard_ms": int(before.timestamp() * 1000), "counted_s": counted_s}
    assert signed_in.get("/floor/north/state", told).status_code == (200 if stays else 401)
