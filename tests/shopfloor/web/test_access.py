"""Every address of the office as each role, as someone with no rights, and as a stranger."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.urls import get_resolver, reverse

from planning.calc.drawing import Reading
from shopfloor import office_urls as office_urls
from shopfloor.drawings.services import drawing_add
from shopfloor.models import User
from tests.planning.calc.drawing.made import dxf, square

ROLES = ("operator", "supervisor", "planner", "owner", "administrator")
ALL = set(ROLES)
PLAN = {"supervisor", "planner", "owner", "administrator"}
CHART = {"planner", "owner", "administrator"}
ADMIN = {"administrator"}
OWNER = {"owner"}

# URL name -> (who may open it, what its arguments are called); POST-only ones are in ACTS.
PAGES: dict[str, tuple[set[str], str]] = {
    "jobs": (ALL, ""),
    "jobs_csv": (ALL, ""),
    "job_add": (PLAN, ""),
    "job_import": (PLAN, ""),
    "job_import_undo": (PLAN, "list"),
    "job": (ALL, "job"),
    "traveler": (ALL, "job"),
    "setup": (ALL, "nest"),
    "job_edit": (PLAN, "job"),
    "job_quote": (OWNER, "job"),
    "job_line_add": (PLAN, "job"),
    "job_line": (PLAN, "line"),
    "late": ({"supervisor", "planner", "owner", "administrator"}, ""),
    "run_complete": (PLAN - ADMIN, "run"),
    "incoming": (PLAN, "incoming"),
    "incoming_how_far": (PLAN, "incoming"),
    "find": (ALL, ""),
    "first_steps": (ALL, ""),
    "nests": (ALL, ""),
    "nest_add": (PLAN, ""),
    "nest": (ALL, "nest"),
    "nest_edit": (PLAN, "nest"),
    "nest_parts": (PLAN, "nest"),
    "nest_revise": (PLAN, "nest"),
    "queue_put": (PLAN, "nest"),
    "nest_program": (ALL, "revision"),
    "plan": (ALL, "plan"),
    "queue": (ALL, ""),
    "checks": (ALL, ""),
    "drawings": (ALL, ""),
    "known_parts": (ALL, ""),
    "known_part": (ALL, "known"),
    "drawing_add": (PLAN, ""),
    "parts_list": (PLAN, ""),
    "drawing": (ALL, "drawing"),
    "drawing_revise": (PLAN, "drawing"),
    "drawing_file": (ALL, "drawn"),
    "chart": (ALL, ""),
    "chart_import": (CHART, ""),
    "chart_row": (ALL, "row"),
    "trials": (ALL, ""),
    "trial_add": (CHART | {"operator", "supervisor"}, ""),
    "trial": (ALL, "trial"),
    "tables": (ALL, ""),
    "table_figures": (ALL, "table"),
    "table_add": (CHART, ""),
    "table_rename": (CHART, "table"),
    "sets": (ALL, ""),
    "prices_bring": (CHART, ""),
    "set": (ALL, "set"),
    "tray_make": (ALL, "set"),
    "materials": (ALL, ""),
    "rates": (OWNER, ""),
    "machine_hour": (OWNER, ""),
    "rate_correct": (OWNER, "rate"),
    "stock": (ALL, ""),
    "stock_receive": (PLAN, ""),
    "sheet": (ALL, "sheet"),
    "sheet_correct": (PLAN, "sheet"),
    "parts": (ALL, ""),
    "parts_receive": (PLAN, ""),
    "part_order": (PLAN, ""),
    "part_same": (CHART, "part"),
    "purchase": (ALL, ""),
    "pieces": (ALL, ""),
    "pieces_add": (PLAN, ""),
    "piece": (ALL, "piece"),
    "piece_look": (PLAN | {"operator"}, "piece"),
    "inspection_photo": (ALL, "photo"),
    "remnants": (ALL, ""),
    "low_stock": (ALL, ""),
    "plate": (ALL, "plate"),
    "labels": (ALL, ""),
    "heats": (ALL, ""),
    "heat": (ALL, "heat"),
    "certificate": (ALL, "heat"),
    "sources": (ALL, ""),
    "source_add": (ADMIN, ""),
    "source": (ALL, "feed"),
    "source_change": (ADMIN, "feed"),
    "source_entered": (PLAN - ADMIN, "feed"),
    "source_count": (ADMIN, "feed"),
    "shop": (ADMIN, ""),
    "calendar": (ALL, ""),
    "people": (ADMIN, ""),
    "person_add": (ADMIN, ""),
    "security": (ADMIN | OWNER, ""),
    "person": (ADMIN, "person"),
    "terminals": (ADMIN, ""),
    "work": (ADMIN, ""),
    "verification": (ADMIN | OWNER, ""),
    "backups": (ADMIN, ""),
}
ACTS: dict[str, tuple[set[str], str]] = {
    "job_act": (PLAN, "job"),
    "job_import_confirm": (PLAN, ""),
    "job_import_headings": (PLAN, ""),
    "late_decide": (PLAN, "late"),
    "incoming_stop": (PLAN, "incoming"),
    "nest_act": (PLAN, "nest"),
    "drawing_act": (PLAN, "drawing"),
    "known_part_act": (PLAN, "known"),
    "queue_act": (PLAN, "queue"),
    "chart_import_confirm": (CHART, ""),
    "chart_end": (CHART, "row"),
    "thickness_answer": (PLAN, ""),
    "trial_strike": (CHART, "trial"),
    "table_pauses": (CHART, "table"),
    "sheet_leave": (PLAN, "sheet"),
    "sheet_back": (PLAN, "sheet"),
    "remnants_write_off": (PLAN, ""),
    "part_order_end": (PLAN, "order"),
    "piece_act": (PLAN | {"operator"}, "piece"),
    "source_act": (ADMIN, "feed"),
    "source_token": (ADMIN, "feed"),
    "source_try": (ADMIN, ""),
    "source_try_at": (ADMIN, "feed"),
    "alarm_seen": (ADMIN, "alarm"),
    "terminal_retire": (ADMIN, "terminal"),
    "shift_end": (ADMIN, "shift"),
    "calendar_change": (PLAN, ""),
    "calendar_holidays": (PLAN, ""),
    "calendar_up": (PLAN, "down"),
    "calendar_open": (PLAN, "closed"),
    "calendar_drop": (PLAN, "shift"),
    "calendar_back": (PLAN, "away"),
    "reason_retire": (ADMIN, "reason"),
    "reasons_usual": (ADMIN, ""),
    "work_act": (ADMIN, "work"),
    "security_seen": (OWNER, "notice"),
    "backup_make": (ADMIN, ""),
}
# Files as they came, which are no text.
DOWNLOADS = {"nest_program", "drawing_file", "certificate", "inspection_photo"}
# What is answered on the spot; the others lead on to a page.
ANSWERED = {"source_token", "source_try", "source_try_at"}
# Everybody's own, or nobody's: tested by themselves below.
# "intake" takes collectors by their own token.
OWN = {"home", "login", "logout", "preferences", "password", "healthz", "intake"}
OWN |= {"help", "help_own"}


@pytest.fixture
def arguments(run, plan, feed, nest, sheet, fast, steel, north, operator, job):
    from shopfloor.library.recognise import parts_recognise
    from shopfloor.models import (
        Absence,
        Action,
        ChartRow,
        ChartTrial,
        ClosedDay,
        Incoming,
        Inspection,
        JobList,
        KnownPart,
        PartOrder,
        Piece,
        QueueItem,
        Rate,
        Reason,
        SecurityEvent,
        SecurityNotice,
        SetPart,
        Shift,
        TableDown,
        Terminal,
        Work,
    )
    from shopfloor.wear.shelf import photo_keep
    from telemetry.models import Alarm

    at = datetime(2026, 10, 1, tzinfo=UTC)
    row = ChartRow.objects.create(
        wear_set=fast,
        material=steel,
        thickness_mm=6.35,
        thickness_text="1/4 in",
        speed_mm_min=2400,
        pierce_delay_s=0.5,
        valid_from=at,
    )
    drawing = drawing_add(
        name="base plate", file_name="base.dxf", raw=dxf(square), material=steel, by=operator,
        thickness_text="1/4 in", reading=Reading(),
    )  # fmt: skip
    parts_recognise(key=f"drawing:{drawing.revisions.get().pk}", payload={})
    known = KnownPart.objects.get()
    part = SetPart.objects.create(wear_set=fast, kind="nozzle", name="nozzle", price_minor=1400)
    piece = Piece.objects.create(label="N-1", part=part, price_minor=1400)
    look = Inspection(piece=piece, at=at, by=operator, orifice_round=True)
    photo_keep(inspection=look, raw=b"\xff\xd8\xff")
    rate = Rate.objects.create(kind="gas", amount_minor=100, valid_from=at.date())
    event = SecurityEvent.objects.create(kind="rights_own", first_at=at, last_at=at)
    return {
        "": [],
        "drawing": [drawing.pk],
        "drawn": [drawing.revisions.get().pk],
        "known": [known.pk],
        "job": [job.pk],
        "line": [job.pk, 1],
        "nest": [nest.pk],
        "revision": [nest.revisions.get().pk],
        "plan": [plan.pk],
        "run": [run.pk],
        "set": [fast.pk],
        "part": [part.pk],
        "piece": [piece.pk],
        "photo": [look.pk],
        "order": [
            PartOrder.objects.create(part=part, quantity=4, ordered_on=at.date(), by=operator).pk
        ],
        "rate": [rate.pk],
        "sheet": [sheet.pk],
        "heat": [sheet.heat.pk],
        "feed": [feed.name],
        "person": [operator.pk],
        "queue": [QueueItem.objects.create(nest=nest, table=north, position=10).pk],
        "row": [row.pk],
        "table": [north.pk],
        "incoming": [
            Incoming.objects.create(
                kind="program", name="long.nc", digest="0" * 64, size=1, by=operator, at=at
            ).pk
        ],
        "trial": [
            ChartTrial.objects.create(
                wear_set=fast,
                material=steel,
                thickness_mm=6.35,
                thickness_text="1/4 in",
                current_a=120,
                speed_mm_min=2300,
                pierce_delay_s=0.5,
                at=at,
                by=operator,
            ).pk
        ],
        "alarm": [Alarm.objects.create(feed=feed, code="disk", message="full", at_us=1).pk],
        "shift": [Shift.objects.order_by("pk")[0].pk],
        "down": [TableDown.objects.create(table=north, started_at=at, ended_at=at).pk],
        "closed": [ClosedDay.objects.create(day=at.date(), why="stocktaking").pk],
        "away": [
            Absence.objects.create(
                person=operator, first=at.date(), last=at.date(), reason="sick", tables=["north"]
            ).pk
        ],
        "reason": [Reason.objects.create(code="crane-busy", label="crane busy").pk],
        "terminal": [Terminal.objects.create(code="t", name="T").pk],
        "late": [Action.objects.create(kind="finish", person=operator, device_at=at, at=at).pk],
        "notice": [SecurityNotice.objects.create(event=event).pk],
        "plate": [steel.pk, f"{sheet.thickness_mm:.2f}"],
        "list": [JobList.objects.create(name="list.csv", at=at).pk],
        "work": [Work.objects.create(kind="nest", key="1", state="failed", wanted_at=at).pk],
    }


def test_no_address_is_left_out():
    names = {pattern.name for pattern in office_urls.urlpatterns}
    assert names == set(PAGES) | set(ACTS) | OWN
    assert get_resolver().reverse_dict


@pytest.mark.parametrize("role", ROLES)
def test_each_role_opens_its_pages_and_no_others(
    role, arguments, client, operator, supervisor, planner, owner, administrator
):
    people = {user.role: user for user in (operator, supervisor, planner, owner, administrator)}
    client.force_login(people[role])
    for name, (allowed, kind) in PAGES.items():
        status = client.get(reverse(name, args=arguments[kind])).status_code
        assert status == (200 if role in allowed else 403), (role, name)


@pytest.mark.parametrize("role", ROLES)
def test_each_role_does_its_own_and_nothing_else(
    role, arguments, client, operator, supervisor, planner, owner, administrator
):
    people = {user.role: user for user in (operator, supervisor, planner, owner, administrator)}
    client.force_login(people[role])
    for name, (allowed, kind) in ACTS.items():
        url = reverse(name, args=arguments[kind])
        status = client.post(url, {"do": "nothing known"}).status_code
        done = 200 if name in ANSWERED else 302
        assert status == (done if role in allowed else 403), (role, name)


def test_acts_are_not_done_by_opening_a_link(arguments, client, administrator):
    client.force_login(administrator)
    for name, (_, kind) in ACTS.items():
        assert client.get(reverse(name, args=arguments[kind])).status_code == 405, name


def test_strangers_are_sent_to_sign_in(arguments, client):
    for name, (_, kind) in {**PAGES, **ACTS}.items():
        url = reverse(name, args=arguments[kind])
        for answer in (client.get(url), client.post(url)):
            assert answer.status_code == 302, name
            assert answer["Location"].startswith(reverse("login")), name


def test_a_person_without_rights_opens_only_their_own_settings(arguments, client, nobody):
    client.force_login(nobody)
    for name, (_, kind) in {**PAGES, **ACTS}.items():
        assert client.get(reverse(name, args=arguments[kind])).status_code == 403, name
    assert client.get(reverse("preferences")).status_code == 200


def test_reading_pages_take_no_writes_from_those_who_only_read(arguments, client, operator):
    """Pages that show and also change: the change has its own right."""
    client.force_login(operator)
    for name in ("set", "materials", "table_figures", "chart_row", "trial"):
        url = reverse(name, args=arguments[PAGES[name][1]])
        assert client.post(url, {"name": "x"}).status_code == 403, name
    sheet = reverse("sheet", args=arguments["sheet"])
    client.post(sheet, {"place": "mine", "note": ""})
    from shopfloor.models import Sheet

    assert not Sheet.objects.filter(place="mine").exists()


@pytest.fixture
def known_cost(arguments):
    """A plan's cost is known once every kind of it is."""
    from shopfloor.models import NestPlan

    nothing = dict.fromkeys(("labour", "gas", "energy", "bench"), 0)
    NestPlan.objects.update(costs_minor={"machine": 1234, "wear": 56, **nothing})


@pytest.mark.usefixtures("known_cost")
def test_money_is_on_no_page_of_those_who_may_not_see_it(arguments, client, operator, supervisor):
    """415.00 is the sheet's cost, 12.34 and 12.90 of the plan, 95.00 the machine's rate."""
    for user in (operator, supervisor):
        client.force_login(user)
        for name, (allowed, kind) in PAGES.items():
            if user.role in allowed and name not in DOWNLOADS:
                text = client.get(reverse(name, args=arguments[kind])).content.decode()
                for amount in ("415.00", "12.34", "12.90", "95.00", "9500", "41500"):
                    assert amount not in text, (user.role, name, amount)


@pytest.mark.usefixtures("known_cost")
def test_those_who_may_see_money_do(arguments, client, owner):
    client.force_login(owner)
    assert "12.90" in client.get(reverse("nest", args=arguments["nest"])).content.decode()
    assert "95.00" in client.get(reverse("plan", args=arguments["plan"])).content.decode()
    assert "415.00" in client.get(reverse("sheet", args=arguments["sheet"])).content.decode()


@pytest.mark.django_db
def test_a_superuser_is_shown_as_one_who_may_do_all(shop, client):
    """Not as the operator that everybody begins as."""
    zoe = User.objects.create_superuser(username="zoe", password="a long enough one")
    client.force_login(zoe)
    page = client.get(reverse("people")).content.decode()
    assert "zoe, every right" in page
    assert "operator" not in page.split("<tr")[-1]
