"""From SQLite to PostgreSQL by the real command: nothing lost, and the shop goes on there."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from telemetry.locks import Lock
from tests.migrated import copied
from tests.processes import environment, manage, manage_json
from tests.servers import postgres
from tests.system.test_served import FEED, LINES

pytestmark = [pytest.mark.served, pytest.mark.long]

ODD = r"""
from datetime import date, time
from django.contrib.auth.hashers import make_password
from django.utils import timezone
from shopfloor.models import Customer, Month, Posting, Reason, Shift, Shop, User, Work
Shop.objects.create(name="Brindle Weir\tFabricating\\", zone="America/Chicago", pit_limit_mm=0.1)
Shift.objects.create(name="early", start=time(6), end=time(14), weekdays="12345",
                     valid_from=date(2026, 1, 1), breaks=[["10:00", 15, "tea\u2615"]])
person = User.objects.create(username="ann", password=make_password("burn clean plate"),
                             last_login=timezone.now())
for n in range(30):
    Reason.objects.create(code=f"c{n}", label=f"crane {n}", planned=bool(n % 2))
Reason.objects.filter(code="c29").delete()  # its number is not given again
Customer.objects.create(name="nul\0inside")
Work.objects.create(kind="odd", key="1", wanted_at=timezone.now(),
                    payload={"b": 1.50, "a": ["\0", "\u00e9", 2.5e-7, None, True]})
month = Month.objects.create(first_day=date(2026, 10, 1))
Posting.objects.create(key="wear:1:x:v1", month=month, shift_date=date(2026, 10, 2), kind="wear",
                       amount_minor=2**40, quantity=1 / 3, evidence="entered")
"""
TOLD = r"""
import json
from shopfloor.models import Change, Customer, Posting, Reason, Shop, Work
new = Reason.objects.create(code="new", label="new", planned=False)
print(json.dumps({"reasons": Reason.objects.count(), "new": new.pk, "shop": Shop.objects.get().name,
    "customer": Customer.objects.get().name, "payload": Work.objects.get(kind="odd").payload,
    "quantity": Posting.objects.get().quantity, "minor": Posting.objects.get().amount_minor,
    "changes": Change.objects.filter(table="shopfloor_reason").count()}))
"""
MORE = "6,2026-10-08T11:02:00Z,ARC ON,\n7,2026-10-08T11:02:20Z,ARC OFF,\n"
BEHIND = (
    "from django.db import connection; connection.cursor().execute("
    "\"DELETE FROM django_migrations WHERE app = 'telemetry' AND name LIKE '0006%'\")"
)


def test_a_shop_moves_whole_and_goes_on_where_it_is(tmp_path: Path, migrated):
    feed, source, folder = tmp_path / "north.toml", tmp_path / "north.csv", tmp_path / "data"
    source.write_text(LINES + "nonsense\n")
    feed.write_text(FEED.format(path=source))
    old = environment(folder, KERFBOOK_SOURCE_DIRS=str(tmp_path))
    copied(migrated, folder)
    assert manage("shell", "-v0", "-c", ODD, env=old).returncode == 0
    assert manage("addfeed", "north", str(feed), env=old).returncode == 0
    assert manage("intake", "--once", env=old).returncode == 0
    with postgres() as url:
        lock = Lock(folder / "journal" / "north" / "live.lock", "north")
        refused = manage("movedb", "--to", url, env=old)
        lock.release()
        assert refused.returncode == 2
        assert "live.lock: is held by a running intake" in refused.stderr
        moved = manage_json("movedb", "--to", url, env=old)
        assert moved["changed"] == 3  # the name, what the audit trail says of it, and the payload
        assert moved["tables"]["telemetry_event"]["rows"] == 5
        assert moved["tables"]["shopfloor_reason"]["rows"] == 29
        again = manage("movedb", "--to", url, env=old)
        assert (again.returncode, "the target is not empty" in again.stderr) == (2, True)
        new = {**old, "DATABASE_URL": url}
        verified = manage("verify", env=new)
        assert verified.returncode == 0, verified.stdout + verified.stderr
        told = json.loads(manage("shell", "-v0", "-c", TOLD, env=new).stdout)
        assert told == {
            "reasons": 30,
            "new": 31,
            "shop": "Brindle Weir\tFabricating\\",
            "customer": "nul␀inside",
            "payload": {"b": 1.5, "a": ["␀", "é", 2.5e-7, None, True]},
            "quantity": 1 / 3,
            "minor": 2**40,
            "changes": 32,  # 30 made and one gone there, and the new one here: triggers are back
        }
        with source.open("a") as more:
            more.write(MORE)
        assert manage("intake", "--once", env=new).returncode == 0
        assert manage("backfill", "north", str(source), env=new).returncode == 0
        (state,) = manage_json("status", env=new)["feeds"]
        # by hand: 30 s, 45 s and 20 s of arc
        assert (state["lines"], state["events"], state["arcs"]) == (8, 7, 3)
        assert (state["arc_seconds"], state["rejected"], state["duplicates"]) == (95.0, 1, 0)
        assert manage("verify", env=new).returncode == 0
        assert manage("shell", "-v0", "-c", BEHIND, env=old).returncode == 0
        behind = manage("movedb", "--to", url, env=old)
        assert behind.returncode == 2
        assert "is not at this program's version (telemetry.0006_lean_arcs)" in behind.stderr
