"""The security log: what it keeps, that nobody changes it, and what the owner is told."""

from __future__ import annotations

import threading
from datetime import timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopfloor.audit.kept import KEPT_DAYS
from shopfloor.models import SecurityEvent, SecurityNotice
from shopfloor.people import security
from shopfloor.people.badges import terminal_register, terminal_retire
from shopfloor.people.security import KINDS, security_event
from shopfloor.people.services import rights_set
from tests.conftest import PASSWORD
from tests.markup import worded

pytestmark = pytest.mark.django_db
SECRET = "burn 8306 clean"


def kinds():
    return list(SecurityEvent.objects.order_by("pk").values_list("kind", flat=True))


def edited(page, user, form, **values):
    fields = {f"{form}-{name}": value for name, value in values.items()}
    return page.post(reverse("person", args=[user.pk]), {"form": form, **fields})


@pytest.fixture
def admin(client, shop, administrator):
    client.force_login(administrator)
    return client


def test_failed_and_throttled_sign_ins_are_one_row_each(client, shop, planner):
    with time_machine.travel(timezone.now(), tick=False):
        for name in ("ines", "ines", "nobody at all", "ines", *["ines"] * 6):
            client.post(reverse("login"), {"username": name, "password": SECRET})
    failed, waits = SecurityEvent.objects.order_by("pk")
    # Six of a name are tried, the seventh waits: 6 + 1 of nobody's, and 9 - 6 turned away.
    assert (failed.kind, failed.count, failed.about) == ("signin_failed", 7, ",ines,")
    assert (waits.kind, waits.count) == ("signin_waits", 3)
    assert failed.address == "127.0.0.1"
    kept = [str(getattr(row, field.attname)) for row in (failed, waits)
            for field in row._meta.concrete_fields]  # fmt: skip
    assert not any(SECRET in value or "nobody" in value for value in kept)


def test_a_right_sign_in_leaves_nothing(client, shop, planner):
    client.post(reverse("login"), {"username": "ines", "password": PASSWORD})
    assert kinds() == []


def test_wrong_pins_and_unknown_badges_are_counted_and_not_kept(client, shop, north, operator):
    _, token = terminal_register(code="n", name="tablet", table=north)
    client.cookies["kerfbook_terminal"] = token
    with time_machine.travel(timezone.now(), tick=False):
        client.post("/floor/north/sign-in", {"badge": "B-9999", "pin": "4711"})
        for _ in range(6):
            client.post("/floor/north/sign-in", {"badge": operator.badge, "pin": "4711"})
    rows = {row.kind: row for row in SecurityEvent.objects.all()}
    assert (rows["pin_failed"].count, rows["pin_failed"].about) == (6, ",milo,")
    assert (rows["pin_waits"].count, rows["pin_waits"].about) == (1, ",milo,")
    for row in rows.values():
        assert "4711" not in f"{row.text}{row.about}{row.by}"


def test_everything_done_to_a_person_is_there_with_who_did_it(admin, operator):
    keep = {"first_name": "Milo", "last_name": "Brandt", "badge": operator.badge, "active": "on"}
    edited(admin, operator, "person", **keep, role="supervisor")
    edited(admin, operator, "person", **{**keep, "badge": "B-7"}, role="supervisor")
    edited(admin, operator, "rights", codes=["see_cost"])
    edited(admin, operator, "rights", codes=["see_wage"])
    edited(admin, operator, "pin", pin="8306")
    edited(admin, operator, "password", password=SECRET)
    gone = {name: value for name, value in keep.items() if name != "active"} | {"badge": "B-7"}
    edited(admin, operator, "person", **gone, role="supervisor")
    rows = SecurityEvent.objects.order_by("pk")
    assert [(row.kind, row.text) for row in rows] == [
        ("role_changed", "operator to supervisor"),
        ("badge_changed", ""),
        ("rights_changed", "now sees what jobs cost"),
        ("rights_changed", "now sees wage rates; no longer sees what jobs cost"),
        ("pin_set", ""),
        ("password_reset", ""),
        ("person_shut_out", ""),
    ]
    assert {(row.about, row.by, row.address) for row in rows} == {
        (",milo,", "user:theo", "127.0.0.1")
    }


def test_a_form_sent_unchanged_leaves_nothing(admin, operator):
    keep = {"first_name": "Milo", "last_name": "Brandt", "badge": operator.badge, "active": "on"}
    edited(admin, operator, "person", **keep, role="operator")
    edited(admin, operator, "rights")
    assert kinds() == []


def test_people_screens_tokens_and_own_passwords(admin, north, administrator):
    sent = {"username": "pat", "first_name": "Pat", "last_name": "Roe", "role": "planner",
            "password": SECRET}  # fmt: skip
    assert admin.post(reverse("person_add"), sent).status_code == 302
    terminal, token = terminal_register(code="n", name="tablet", table=north)
    terminal_retire(terminal=terminal)
    from telemetry.models import Feed

    feed = Feed.objects.create(name="north-wire", table="north", kind="push", created_us=0)
    admin.post(reverse("source_token", args=[feed.name]))
    admin.post(reverse("password"), {"old_password": PASSWORD, "new_password1": SECRET,
                                     "new_password2": SECRET})  # fmt: skip
    assert kinds() == ["person_added", "terminal_registered", "terminal_withdrawn",
                       "source_token", "password_changed"]  # fmt: skip
    everything = " ".join(
        str(value) for row in SecurityEvent.objects.values_list() for value in row
    )
    assert token not in everything
    assert SECRET not in everything


def test_a_collector_with_a_wrong_token_is_counted(client, shop):
    for _ in range(3):
        client.post("/intake/north/", b"", content_type="application/octet-stream",
                    headers={"Authorization": "Bearer guess"})  # fmt: skip
    row = SecurityEvent.objects.get()
    assert (row.kind, row.count) == ("source_refused", 3)


class TestFlood:
    def test_a_minute_and_an_address_have_one_row(self, db):
        at = timezone.now().replace(second=0)
        for n in range(200):
            security_event("signin_failed", address="10.0.0.1", now=at + timedelta(seconds=n % 60))
        security_event("signin_failed", address="10.0.0.1", now=at + timedelta(seconds=60))
        security_event("signin_failed", address="10.0.0.2", now=at)
        assert list(SecurityEvent.objects.order_by("pk").values_list("count", flat=True)) == [
            200, 1, 1,
        ]  # fmt: skip

    def test_many_addresses_are_counted_together(self, db):
        now = timezone.now()
        for n in range(300):
            security_event("pin_failed", address=f"10.0.{n // 250}.{n % 250}", now=now)
        rows = SecurityEvent.objects.all()
        assert len(rows) == security.MOST_A_MINUTE + 1
        assert sum(row.count for row in rows) == 300
        assert rows.get(address=security.MANY).count == 240

    def test_many_people_do_not_overflow_the_row(self, db):
        from shopfloor.models import User

        now = timezone.now()
        for n in range(60):
            security_event("pin_failed", about=User(username=f"{n:03}-a-long-name"), now=now)
        row = SecurityEvent.objects.get()
        assert row.count == 60
        assert row.about.startswith(",000-a-long-name,001-a-long-name,")
        assert len(row.about) <= 400


class TestKept:
    def written(self):
        security_event("signin_failed", address="10.0.0.1")
        return SecurityEvent.objects.get()

    @pytest.mark.parametrize(
        "values",
        [{"count": 0}, {"count": 1}, {"text": "x"}, {"address": "10.0.0.9"}, {"about": ",x,"},
         {"kind": "exported", "count": 2}, {"minute": None, "count": 2}, {"by": "x", "count": 2}],
    )  # fmt: skip
    def test_no_row_is_changed(self, db, values):
        row = self.written()
        if values == {"about": ",x,"}:
            values = {"about": ",x,", "count": 1}
        with pytest.raises(DatabaseError, match="security log"), transaction.atomic():
            SecurityEvent.objects.filter(pk=row.pk).update(**values)
        assert SecurityEvent.objects.values().get() == SecurityEvent.objects.filter(
            kind="signin_failed", count=1, address="10.0.0.1", about="", by=row.by
        ).values().get()  # fmt: skip

    def test_what_is_not_counted_is_never_changed(self, db):
        security_event("pin_set")
        with pytest.raises(DatabaseError, match="security log"), transaction.atomic():
            SecurityEvent.objects.update(count=2)

    def test_no_row_is_deleted_within_its_time_also_by_sql(self, db):
        self.written()
        with pytest.raises(DatabaseError, match="security log"), transaction.atomic():
            SecurityEvent.objects.all().delete()
        with (
            pytest.raises(DatabaseError, match="security log"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute("DELETE FROM shopfloor_securityevent")
        assert SecurityEvent.objects.count() == 1

    @pytest.mark.skipif(connection.vendor == "sqlite", reason="SQLite has no TRUNCATE")
    def test_the_log_is_not_truncated(self, db):
        self.written()
        with (
            pytest.raises(DatabaseError, match="security log"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute("TRUNCATE shopfloor_securityevent CASCADE")
        assert SecurityEvent.objects.count() == 1

    def test_what_is_past_its_time_goes_but_for_what_the_owner_has_not_seen(self, planner):
        long_ago = timezone.now() - timedelta(days=KEPT_DAYS + 1)
        security_event("pin_set", now=long_ago)
        security_event("rights_own", about=planner, text="Ines", now=long_ago)
        security_event("pin_set", now=timezone.now() - timedelta(days=KEPT_DAYS - 1))
        security_event("exported")
        assert kinds() == ["rights_own", "pin_set", "exported"]


class TestTheOwnerIsTold:
    @pytest.fixture
    def told(self, admin, owner, administrator):
        """An administrator gave himself a look at the money."""
        edited(admin, administrator, "rights", codes=["see_cost", "see_margin"])
        page = Client()
        page.force_login(owner)
        return page

    def test_on_every_page_until_marked_seen(self, told, owner):
        said = "Theo Marsh gave themselves a right: sees what jobs cost; sees quotes and margin"
        for name in ("cost", "jobs", "today"):
            assert said in told.get(reverse(name)).content.decode(), name
        notice = SecurityNotice.objects.get()
        told.post(reverse("security_seen", args=[notice.pk]))
        assert said not in told.get(reverse("jobs")).content.decode()
        notice.refresh_from_db()
        assert notice.seen_by == owner
        assert said in told.get(reverse("security")).content.decode()

    def test_nobody_else_sees_or_takes_it_away(self, told, admin, planner):
        notice = SecurityNotice.objects.get()
        assert admin.post(reverse("security_seen", args=[notice.pk])).status_code == 403
        assert "For the owner" not in admin.get(reverse("jobs")).content.decode()
        other = Client()
        other.force_login(planner)
        assert other.post(reverse("security_seen", args=[notice.pk])).status_code == 403
        assert SecurityNotice.objects.get().seen_at is None

    def test_rights_from_another_or_taken_away_need_no_note(self, operator, administrator):
        rights_set(user=operator, codes=["see_cost"], by=administrator)
        rights_set(user=administrator, codes=[], by=administrator)
        assert not SecurityNotice.objects.exists()

    def test_it_is_told_again_the_next_time(self, told, admin, administrator):
        edited(admin, administrator, "rights", codes=["see_cost", "see_margin", "see_wage"])
        texts = [notice.event.text for notice in SecurityNotice.objects.order_by("pk")]
        assert texts[1] == "Theo Marsh gave themselves a right: sees wage rates"


class TestPage:
    def test_it_filters_by_kind_and_person_and_pages(self, admin, operator, planner):
        for _ in range(60):
            security_event("pin_set", about=operator, by="user:ann")
        security_event("password_reset", about=planner, by="user:milo")
        url = reverse("security")
        text = worded(admin.get(url).content.decode())
        assert "Page 1 of 2, 61 in all" in text
        text = admin.get(url, {"kind": "password_reset"}).content.decode()
        assert "Page 1" not in text
        assert text.count("<tr>") == 2
        milo = admin.get(url, {"person": "milo", "kind": "password_reset"}).content.decode()
        assert milo.count("<tr>") == 2  # he did it
        ines = admin.get(url, {"person": "ines"}).content.decode()
        assert ines.count("<tr>") == 2  # it was done to her
        assert admin.get(url, {"person": "x'", "kind": "%", "page": "9999"}).status_code == 200

    def test_every_kind_has_a_word(self, admin):
        for kind in KINDS:
            security_event(kind)
        text = admin.get(reverse("security")).content.decode()
        for kind in KINDS.values():
            assert kind.label in text


@pytest.mark.django_db
def test_commands_that_let_somebody_in_are_on_record(monkeypatch, operator):
    monkeypatch.setenv("DJANGO_SUPERUSER_PASSWORD", "a-long-one-4711")
    call_command("createsuperuser", "--noinput", username="zoe", email="", verbosity=0)
    monkeypatch.setattr("getpass.getpass", lambda prompt="": "another-long-one-4711")
    call_command("changepassword", operator.username, stdout=StringIO())
    assert [
        (event.kind, event.about, event.by) for event in SecurityEvent.objects.order_by("pk")
    ] == [
        ("person_added", ",zoe,", "command createsuperuser"),
        ("password_reset", f",{operator.username},", "command changepassword"),
    ]


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(
    "connection.vendor == 'sqlite'", reason="a database in memory is one thread's own"
)
def test_failures_at_the_same_moment_are_all_counted():
    now, gate = timezone.now(), threading.Barrier(4)

    def fail():
        gate.wait()
        for _ in range(10):
            security_event("signin_failed", address="10.0.0.1", now=now)
        connection.close()

    threads = [threading.Thread(target=fail) for _ in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert SecurityEvent.objects.get().count == 40
