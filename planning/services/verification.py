"""Verifying all records: what is looked at in which order, and how the result is kept."""

from __future__ import annotations

import json
import logging
import subprocess
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import DatabaseError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.verify.books import check_months, check_reversals, check_runs_books, check_wear
from shopfloor.background.request import request_work
from shopfloor.models import User, Verification
from shopfloor.runs.arcs import to_us
from shopfloor.site.queries import the_shop
from shopfloor.verify.database import check_database
from shopfloor.verify.files import check_files
from shopfloor.verify.floor import check_assignments, check_parts, check_runs
from shopfloor.verify.queries import verify_lock, verify_progress
from telemetry.errors import TelemetryError
from telemetry.locks import Lock
from telemetry.models import Feed
from telemetry.said import said, stored
from telemetry.thinning import thin
from telemetry.verify import Finding, check_feed
from telemetry.verify.view import one_view

log = logging.getLogger(__name__)
KEPT = 30  # verifications
_MOST = 200  # findings of one
NIGHT = range(1, 5)  # hours of the shop's clock
_DAILY, _OVERDUE = timedelta(hours=20), timedelta(hours=36)
Say = Callable[[int, int, str], None]


@dataclass
class Report:
    """What a verification found, and how much it looked at."""

    findings: list[Finding] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)

    @property
    def faults(self) -> list[Finding]:
        return [finding for finding in self.findings if finding.fault]

    def count(self, name: str, number: int) -> None:
        self.counts[name] = self.counts.get(name, 0) + number


def verify_all(*, now: datetime, say: Say = lambda done, total, step: None) -> Report:
    """Looks at everything. Each step sees one state of the database; no step holds up a writer."""
    report = Report()
    feeds = list(Feed.objects.order_by("name"))
    steps = _steps(now)
    total = len(feeds) + len(steps)
    for done, feed in enumerate(feeds):
        _step(report, feed.name, lambda feed=feed, done=done: _feed(  # type: ignore[misc]
            report, feed, lambda step: say(done, total, step)))  # fmt: skip
    for done, (what, check) in enumerate(steps, len(feeds)):
        say(done, total, said("checking {what}", what=said(what)))
        _step(report, what, check)
    return report


def _steps(now: datetime) -> list[tuple[str, Callable[[], Iterable[Finding]]]]:
    return [
        (N_("arcs tied to runs"), check_assignments),
        (N_("runs and segments"), check_runs),
        (N_("parts"), check_parts),
        (N_("reversals"), check_reversals),
        (N_("the books of runs"), lambda: check_runs_books(now=now)),
        (N_("wear parts"), check_wear),
        (N_("closed months"), check_months),
        (N_("files"), check_files),
        (N_("the database"), check_database),
    ]


def _step(report: Report, what: str, check: Callable[[], Iterable[Finding]]) -> None:
    """What cannot be looked at, because its rows hold what nothing can be worked out from, is a
    finding, and the rest is looked at all the same."""
    try:
        with one_view():
            report.findings += check()
    except DatabaseError as error:
        text = said(
            "The database cannot be read for {what}: {error}.", what=said(what), error=error
        )
        report.findings.append(Finding("database damaged", what, text))
    except Exception as error:
        log.exception("verifying %s", what)
        text = said(
            "The records of {what} cannot be worked out ({name}: {error}).",
            what=said(what),
            name=type(error).__name__,
            error=error,
        )
        report.findings.append(Finding("records unreadable", what, text))


def _feed(report: Report, feed: Feed, say: Callable[[str], None]) -> list[Finding]:
    done = check_feed(feed, say)
    for name in ("segments", "records", "lines", "events", "arcs"):
        report.count(name, getattr(done, name))
    return done.findings


def verification_make(*, asked: str, by: User | None = None) -> Verification:
    """Verifies now and keeps the result. Raises Busy where another one goes on."""
    lock = Lock(verify_lock(), _("the shop's records are being verified: it"))
    try:
        row = Verification.objects.create(asked=asked, by=by, started_at=timezone.now())
        report = verify_all(now=row.started_at, say=_say)
        if asked == "night" and not report.faults:
            _thin(report, row.started_at)
        _keep(row, report)
        return row
    finally:
        verify_progress().unlink(missing_ok=True)
        lock.release()


def _thin(report: Report, now: datetime) -> None:
    """Lets go of journal segments older than the shop keeps: all was just found to agree."""
    days = the_shop().journal_days
    if days is None:
        return
    before_us = to_us(now - timedelta(days=days))
    for feed in Feed.objects.order_by("name"):
        try:
            gone = thin(feed, before_us, now)
        except (OSError, TelemetryError) as error:
            text = said(
                "The journal of {feed} could not be thinned: {error}.", feed=feed.name, error=error
            )
            report.findings.append(Finding("thinning failed", feed.name, text))
            continue
        report.count("thinned", gone)


def _say(done: int, total: int, step: str) -> None:
    path = verify_progress()
    part = path.with_suffix(".part")
    part.write_text(json.dumps({"done": done, "total": total, "step": stored(step)}))
    part.replace(path)


@transaction.atomic
def _keep(row: Verification, report: Report) -> None:
    row.ended_at = timezone.now()
    row.faults = len(report.faults)
    ordered = sorted(report.findings, key=lambda finding: not finding.fault)
    row.findings = [finding.as_json() for finding in ordered[:_MOST]]
    row.counts = report.counts
    row.save()
    old = Verification.objects.order_by("-started_at").values_list("pk", flat=True)[KEPT:]
    Verification.objects.filter(pk__in=list(old)).delete()


def verification_launch(*, key: str, payload: dict[str, Any]) -> None:
    """Work kind "verify", key: who asked. In a process of its own: it takes minutes, and plans and
    costs must not wait for them. It ends by itself where another one goes on."""
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "verify", "--asked", key]
    if "by" in payload:
        command += ["--by", str(payload["by"])]
    subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)


def verification_nightly(*, now: datetime) -> bool:
    """Asks for one at night, or by day where the machine is off at night. True where it did."""
    last = Verification.objects.order_by("-started_at").first()
    age = None if last is None else now - last.started_at
    at_night = now.astimezone(ZoneInfo(the_shop().zone)).hour in NIGHT
    if age is not None and age < (_DAILY if at_night else _OVERDUE):
        return False
    request_work(kind="verify", key="night")
    return True
