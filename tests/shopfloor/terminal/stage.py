"""A shop of its own in a process of its own: the program served over HTTP from a SQLite file, as
on one machine, and a line of JSON on standard input for each thing that happens off the screen.

    python -m tests.shopfloor.terminal.stage [PORT]

Run with KERFBOOK_DATA naming a folder with an empty, migrated database. Answers each line
with one line of JSON. `played` does the same over a pipe, for tests that fork it.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
from datetime import date, time, timedelta
from importlib import import_module
from multiprocessing.connection import Connection
from pathlib import Path
from threading import Thread
from typing import Any

import django

PIN = "2468"


def serve(port: int) -> int:
    from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler
    from django.core.wsgi import get_wsgi_application

    class Quiet(WSGIRequestHandler):
        def log_message(self, format: str, *args: Any) -> None:
            pass

    server = ThreadedWSGIServer(("127.0.0.1", port), Quiet)
    server.daemon_threads = True
    server.set_app(get_wsgi_application())
    Thread(target=server.serve_forever, daemon=True).start()
    return server.server_port


def cast_made() -> tuple[Any, str]:
    from django.contrib.auth.hashers import make_password

    from shopfloor.models import Shift, Shop, Table, Torch, User
    from shopfloor.people.badges import terminal_register
    from shopfloor.people.roles import role_give
    from tests.shopfloor.terminal import cast

    Shop.objects.create(name="Brindle Weir Fabricating", zone="America/Chicago")
    Shift.objects.create(
        name="day", start=time(6), end=time(5, 59), weekdays="1234567", valid_from=date(2026, 1, 1)
    )
    table = Table.objects.create(code="north", name="North")
    Torch.objects.create(table=table, code="1")
    for name, role in (("Milo Brandt", "operator"), ("Dana Okell", "supervisor")):
        first, last = name.split()
        user = User.objects.create(
            username=first.lower(),
            first_name=first,
            last_name=last,
            badge=f"B-{first.lower()}",
            pin_hash=make_password(PIN),
        )
        role_give(user=user, role=role)
    made = cast.floor(table, User.objects.get(username="dana"))
    _, token = terminal_register(code="north-1", name="tablet beside North", table=table)
    return made, token


def happened(made: Any, order: dict[str, Any]) -> Any:
    """Does one thing off the screen, or tells what is on record."""
    from django.utils import timezone

    from shopfloor.models import Action, AirReading, Job, QueueItem, Run, Segment, Sheet, Stoppage
    from tests.shopfloor.terminal import cast

    name = order["do"]
    if name == "burn":
        run = Run.objects.exclude(state="voided").latest("opened_at")
        cast.burn(made, run, range(order["first"], order["last"] + 1))
    elif name == "began earlier":
        earlier = timezone.now() - timedelta(minutes=order["minutes"])
        Run.objects.update(opened_at=earlier)
        Segment.objects.update(started_at=earlier)
    elif name == "last entry":
        last = Action.objects.latest("received_at")
        return {"last": [(timezone.now() - last.at).total_seconds(), str(last.state)]}
    elif name == "closed at the desk":
        from shopfloor.runs.services import run_close

        run_close(run=Run.objects.latest("opened_at"), at=timezone.now())
    elif name == "second torch":
        from shopfloor.models import User

        cast.second_torch(made, User.objects.get(username="dana"))
    elif name == "theme":
        from shopfloor.models import User

        User.objects.update(theme=order["theme"])
    elif name == "password":
        from shopfloor.models import User

        person = User.objects.get(username=order["name"])
        person.set_password("burn clean plate")
        person.save()
    elif name == "two counts":
        cast.two_counts(made)
    elif name == "plate":
        cast.sheet(order["number"], made.line.material)
    elif name == "queue":
        cast.queued(made, order["nest"], order["sheet"])
    elif name == "new hire checked":
        from shopfloor.models import Check, User

        milo = User.objects.get(username="milo")
        User.objects.filter(pk=milo.pk).update(needs_countersign=True)
        run = Run.objects.latest("opened_at")
        Check.objects.create(run=run, at=timezone.now(), by=milo, u_mm=0.31, u_range=2, passed=True)
    elif name == "more jobs":
        from shopfloor.models import User

        for number in order["numbers"]:
            cast.listed_last(made, number, User.objects.get(username="dana"))
    elif name == "gap":
        ended = timezone.now() - timedelta(minutes=30)
        Stoppage.objects.create(
            table=made.table, started_at=ended - timedelta(minutes=12), ended_at=ended
        )
    runs = Run.objects.order_by("opened_at")
    return {
        "runs": [[run.revision.nest.name, str(run.state), run.sheet.code] for run in runs],
        "segments": [[s.first_contour, s.end_reason] for run in runs for s in run.segments.all()],
        "actions": [
            [a.kind, str(a.state), a.payload] for a in Action.objects.order_by("received_at")
        ],
        "results": [
            [r.outcome, r.quantity, r.cause] for run in runs for r in run.results.order_by("pk")
        ],
        "stoppages": [
            [s.reason.code if s.reason else "", s.ended_at is not None]
            for s in Stoppage.objects.order_by("pk")
        ],
        "torches": [s.torch.code for run in runs for s in run.segments.order_by("started_at")],
        "fitted": sorted(
            made.table.torches.get(code="1")
            .fittings.filter(removed_at=None)
            .values_list("piece__label", flat=True)
        ),
        "signed": [
            c.countersigned_by.username
            for run in runs
            for c in run.checks.all()
            if c.countersigned_by
        ],
        "checks": [[c.u_mm, c.passed] for run in runs for c in run.checks.all()],
        "air": [[a.flowing_kpa, a.drained] for a in AirReading.objects.order_by("pk")],
        "bench": [[b.kind, b.minutes] for b in made.line.bench.all()],
        "queue": {item.nest.name: item.state for item in QueueItem.objects.order_by("position")},
        "sheets": {sheet.code: str(sheet.state) for sheet in Sheet.objects.all()},
        "jobs": {job.number: str(job.state) for job in Job.objects.all()},
    }


def say(what: Any) -> None:
    sys.stdout.write(json.dumps(what, default=str) + "\n")
    sys.stdout.flush()


def played(data: Path, link: Connection) -> None:
    """The shop in `data`, until `link` is closed. Runs in a process forked from one that has the
    program imported, so the settings, read for another folder, are led to this one first."""
    from django.conf import settings
    from django.db import connections

    from shopfloor.celery import app

    import_module("tests.imported")  # there already, in the process forked from

    settings.DATA_DIR = data
    settings.STATIC_ROOT, settings.MEDIA_ROOT = data / "static", data / "files"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    connections.databases["default"]["NAME"] = data / "kerfbook.sqlite3"
    app.conf.broker_url = "memory://"
    made, token = cast_made()
    link.send({"port": serve(0), "token": token})
    with contextlib.suppress(EOFError):
        while True:
            link.send(json.loads(json.dumps(happened(made, link.recv()), default=str)))


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
    django.setup()
    made, token = cast_made()
    port = serve(int(sys.argv[1]) if len(sys.argv) > 1 else 0)
    say({"port": port, "token": token})
    for line in sys.stdin:
        say(happened(made, json.loads(line)))


if __name__ == "__main__":
    main()
