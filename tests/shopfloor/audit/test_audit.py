from __future__ import annotations

import uuid

import pytest
from django.db import connection, transaction

from shopfloor.audit.actor import acting
from shopfloor.audit.coverage import LEFT_OUT, audited_models
from shopfloor.audit.history import history_of
from shopfloor.audit.triggers import audit_drop, audit_sync
from shopfloor.background.request import request_work
from shopfloor.models import (
    ArcAssignment,
    Change,
    Customer,
    Job,
    Run,
    Sheet,
    Table,
    User,
    Work,
)
from shopfloor.people.badges import pin_set
from shopfloor.people.roles import role_give
from tests.shopfloor.floor_shop import T0


def trace(table):
    rows = Change.objects.filter(table=table).order_by("pk")
    return [(row.operation, row.who, row.why, row.old, row.new) for row in rows]


@pytest.fixture
def customer(db):
    made = Customer.objects.create(name="Ash Lane")
    Change.objects.all().delete()
    return made


WAYS = {
    "save": lambda one: (setattr(one, "name", "Elm Lane"), one.save()),
    "update": lambda one: Customer.objects.filter(pk=one.pk).update(name="Elm Lane"),
    "bulk_update": lambda one: (
        setattr(one, "name", "Elm Lane"),
        Customer.objects.bulk_update([one], ["name"]),
    ),
    "raw": lambda one: connection.cursor().execute(
        "UPDATE shopfloor_customer SET name = 'Elm Lane' WHERE id = %s", [one.pk]
    ),
}


@pytest.mark.parametrize("way", sorted(WAYS))
def test_a_change_leaves_the_same_trace_whichever_way_it_is_written(customer, way):
    with acting("user:dana", why="new name"):
        WAYS[way](customer)
    assert trace("shopfloor_customer") == [
        ("update", "user:dana", "new name", {"name": "Ash Lane"}, {"name": "Elm Lane"})
    ]


def test_rows_made_in_bulk_and_deleted_in_bulk_are_on_record(db):
    with acting("user:ines", why="import"):
        Customer.objects.bulk_create([Customer(name=f"C{i}") for i in range(3)])
    with acting("user:ann", why="duplicates"):
        Customer.objects.filter(name__startswith="C").delete()
    rows = trace("shopfloor_customer")
    assert [row[:3] for row in rows] == [("insert", "user:ines", "import")] * 3 + [
        ("delete", "user:ann", "duplicates")
    ] * 3
    assert sorted(row[4]["name"] for row in rows[:3]) == ["C0", "C1", "C2"]
    assert sorted(row[3]["name"] for row in rows[3:]) == ["C0", "C1", "C2"]


def test_raw_inserts_and_deletes_are_on_record(db):
    with connection.cursor() as cursor, acting("user:theo", why="by hand"):
        cursor.execute("INSERT INTO shopfloor_customer (name) VALUES ('Oak Row')")
        cursor.execute("DELETE FROM shopfloor_customer WHERE name = 'Oak Row'")
    assert [row[:3] for row in trace("shopfloor_customer")] == [
        ("insert", "user:theo", "by hand"),
        ("delete", "user:theo", "by hand"),
    ]


def test_who_is_right_again_after_a_roll_back(customer):
    def fails():
        with transaction.atomic(), acting("user:ann", why="first"):
            Customer.objects.filter(pk=customer.pk).update(name="X")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fails()
    with acting("user:dana", why="second"):
        Customer.objects.filter(pk=customer.pk).update(name="Y")
    Customer.objects.filter(pk=customer.pk).update(name="Z")
    assert [row[1:3] for row in trace("shopfloor_customer")] == [("user:dana", "second"), ("", "")]


def test_writing_what_was_there_leaves_no_trace(customer):
    Customer.objects.filter(pk=customer.pk).update(name="Ash Lane")
    customer.save()
    assert trace("shopfloor_customer") == []


def test_a_history_reads_back_as_the_fields_own_types(floor):
    sheet = floor.sheet(cost_minor=60_000)
    with acting("user:ines", why="weighed again"):
        Sheet.objects.filter(pk=sheet.pk).update(cost_minor=None, length_mm=2990.5)
    made, changed = history_of(Sheet, sheet.pk)
    assert made.changes["received_at"] == (None, T0)
    assert made.changes["material"] == (None, floor.steel.pk)
    assert changed.changes == {"cost_minor": (60_000, None), "length_mm": (3000.0, 2990.5)}
    assert (changed.who, changed.why, changed.operation) == ("user:ines", "weighed again", "update")


def test_a_history_finds_rows_by_uuid_and_keeps_json(floor):
    run = Run.objects.get(
        pk=floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=2)).pk)["run"]
    )
    (made,) = history_of(Run, run.pk)
    assert made.changes["id"] == (None, run.pk)
    assert made.changes["plan"][1]["arcs_s"] == [30.0, 30.0]
    assert made.who == "user:milo"
    assert "start" in made.why
    assert history_of(Run, str(run.pk)) == [made]
    assert history_of(Run, uuid.uuid4()) == []


def test_secrets_are_never_copied_only_that_they_changed(operator):
    Change.objects.all().delete()
    with acting("user:theo", why="forgot it"):
        pin_set(user=operator, pin="8306")
    (past,) = history_of(User, operator.pk)
    assert past.changes == {"pin_hash": ("***", "***")}
    assert operator.pin_hash not in str(list(Change.objects.values()))


def test_rights_given_and_taken_are_on_record(operator):
    Change.objects.all().delete()
    with acting("user:theo", why="promoted"):
        role_give(user=operator, role="supervisor")
    rows = trace("shopfloor_user_groups")
    assert sorted(row[0] for row in rows) == ["delete", "insert"]
    assert {row[1] for row in rows} == {"user:theo"}


def test_what_machines_make_fills_no_trail(db):
    request_work(kind="run", key="x")
    Work.objects.update(state="done")
    ArcAssignment.objects.create(arc_key="k", at=T0)
    ArcAssignment.objects.update(contour_number=2)
    assert not Change.objects.exists()


def test_signing_in_fills_no_trail(operator):
    Change.objects.all().delete()
    User.objects.update(last_login=T0)
    assert not Change.objects.exists()


def test_following_arcs_leaves_only_decisions_in_the_trail(floor):
    floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)
    Change.objects.all().delete()
    floor.arcs(T0, [30.0] * 3)
    floor.follow()
    assert ArcAssignment.objects.count() == 3
    # long ago by the clock: that the segment's end is assumed is a decision, and on record
    (change,) = Change.objects.all()
    assert change.who == "follow"
    assert set(change.new) == {"ended_at", "end_assumed"}


def test_quotes_and_lines_survive_in_the_trail(customer):
    name = 'O\'Hara "Plate" \\ Söhne\n第二'
    Customer.objects.filter(pk=customer.pk).update(name=name)
    with acting("user:d'arcy", why='it\'s 100 % "so"'):
        Customer.objects.filter(pk=customer.pk).update(name="x")
    first, second = history_of(Customer, customer.pk)
    assert first.changes["name"] == ("Ash Lane", name)
    assert (second.who, second.why) == ("user:d'arcy", 'it\'s 100 % "so"')


def test_every_record_of_the_shop_is_audited_but_those_named(db):
    from django.apps import apps

    names = {model.__name__ for model in apps.get_app_config("shopfloor").get_models()}
    audited = {model.__name__ for model in audited_models()}
    assert names - audited == set(LEFT_OUT)
    assert {"Job", "Run", "Piece", "Posting", "Rate"} <= audited


def test_syncing_again_touches_nothing_and_mends_what_is_missing(db):
    assert audit_sync() == 0
    with connection.cursor() as cursor:
        name, on = _trigger_of_jobs(cursor)
        cursor.execute(f'DROP TRIGGER "{name}"{on}')
    assert audit_sync() == 1
    audit_drop()
    Job.objects.all().delete()
    Table.objects.create(code="t", name="T")
    assert not Change.objects.exists()
    assert audit_sync() > 60


def _trigger_of_jobs(cursor):
    if connection.vendor == "sqlite":
        cursor.execute(
            "SELECT name, '' FROM sqlite_master "
            "WHERE name LIKE 'kerfbook_audit_%' AND tbl_name = 'shopfloor_job'"
        )
    else:
        cursor.execute(
            "SELECT tgname, ' ON shopfloor_job' FROM pg_trigger "
            "WHERE tgrelid = 'shopfloor_job'::regclass AND tgname LIKE 'kerfbook_audit_%%'",
            [],
        )
    return cursor.fetchone()
