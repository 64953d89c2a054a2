"""Backups by themselves: when due, made in a process of their own, old ones let go."""

from __future__ import annotations

import contextlib
import fcntl
import logging
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.background.request import request_work
from shopfloor.backup.archive import BackupError
from shopfloor.backup.make import Made, backup_make
from shopfloor.backup.queries import backup_plan
from shopfloor.backup.rotation import days_to_keep, due_at
from shopfloor.models import BackupPlan, BackupRun, User
from shopfloor.people.security import security_event
from shopfloor.site.queries import shop_zone
from telemetry.locks import Busy, Lock, is_held

log = logging.getLogger(__name__)
AGAIN_AFTER = timedelta(hours=1)
NAME = re.compile(r"kerfbook-\d{8}T\d{6}Z\.zip")
KEY = "everything"
_children: list[subprocess.Popen[bytes]] = []


def backup_plan_set(
    *, active: bool, at: time, folder: str, inside: bool, daily: int, weekly: int, monthly: int
) -> BackupPlan:
    """Raises ValidationError where nothing can be written to the folder."""
    place = folder_checked(folder, inside=inside) if active or folder else ""
    plan = backup_plan()
    plan.active, plan.at, plan.folder, plan.inside = active, at, place, inside
    plan.daily, plan.weekly, plan.monthly = daily, weekly, monthly
    plan.save()
    return plan


def folder_checked(folder: str, *, inside: bool) -> str:
    """The folder as it is kept. Raises ValidationError with what is wrong about it."""
    path = Path(folder.strip())
    if not path.is_absolute() or not path.is_dir():
        raise ValidationError({"folder": _("There is no such folder on the machine it runs on.")})
    path = path.resolve()
    if not os.access(path, os.W_OK | os.X_OK):
        raise ValidationError({"folder": _("The program may not write to this folder.")})
    if path.is_relative_to(Path(settings.DATA_DIR).resolve()) and not inside:
        raise ValidationError(
            {"folder": _("It is in the data folder: a backup there is lost with what it saves.")}
        )
    return str(path)


def backup_running() -> bool:
    return is_held(_lock_path())


def backup_now(*, by: User | None = None) -> None:
    """Wants one now; `by` is who pressed. Raises ValidationError where no folder is set."""
    if not backup_plan().folder:
        raise ValidationError(_("Say first which folder backups go to."))
    request_work(kind="backup", key=KEY, payload={"by": by.pk} if by else {})


def backups_due(*, now: datetime) -> bool:
    """Wants a backup where one is due and none runs; after a failure again an hour later."""
    plan = backup_plan()
    if not plan.active or not plan.folder or backup_running():
        return False
    since = due_at(now, plan.at, ZoneInfo(shop_zone()))
    if BackupRun.objects.filter(state="done", scheduled=True, began_at__gte=since).exists():
        return False
    if BackupRun.objects.filter(state="failed", ended_at__gt=now - AGAIN_AFTER).exists():
        return False
    request_work(kind="backup", key=KEY)
    return True


def backup_begin(*, key: str, payload: dict[str, Any]) -> None:
    """The work of kind "backup": begins one in a process of its own, so that nothing waits for it.
    It writes its row itself; if it is killed, the next look finds that one is still due."""
    _children[:] = [child for child in _children if child.poll() is None]
    if backup_running():
        return
    command = [sys.executable, str(Path(settings.BASE_DIR) / "manage.py"), "backup", "--scheduled"]
    if "by" in payload:
        command += ["--by", str(payload["by"])]
    env = {**os.environ, "KERFBOOK_DATA": str(settings.DATA_DIR)}
    _children.append(subprocess.Popen(command, env=env, stdin=subprocess.DEVNULL))


def backup_scheduled(*, by: User | None = None) -> Made:
    """Makes one in the folder of the plan, then lets old ones go; `by` is who asked. Raises
    BackupError, which is also on record; Busy where another runs."""
    with _only_one():
        plan, began = backup_plan(), timezone.now()
        folder = Path(plan.folder)
        path = folder / f"kerfbook-{began:%Y%m%dT%H%M%SZ}.zip"
        try:
            folder_checked(plan.folder, inside=plan.inside)
            made = backup_make(path)
        except (BackupError, ValidationError) as problem:
            said = problem.messages[0] if isinstance(problem, ValidationError) else str(problem)
            backup_note(path=path, began=began, said=said, scheduled=True)
            raise BackupError(said) from problem
        backup_note(path=path, began=began, made=made, scheduled=True, by=by)
        backups_thin(plan)
        return made


def backup_note(
    *, path: Path, began: datetime, made: Made | None = None, said: str = "", scheduled: bool,
    by: User | None = None,
) -> None:  # fmt: skip
    """Puts a try on record, and in the security log that everything was written to a file. A
    database that has no such table yet is no fault of the backup."""
    with contextlib.suppress(DatabaseError), transaction.atomic():
        if made:
            who = f"user:{by.username}" if by else "schedule" if scheduled else _("command backup")
            security_event("exported", text=_("backup to {path}").format(path=path), by=who)
        BackupRun.objects.create(
            began_at=began,
            ended_at=timezone.now(),
            path=str(path)[:700],
            size=made.size if made else None,
            state="done" if made else "failed",
            said=said[:500],
            scheduled=scheduled,
        )


def backups_thin(plan: BackupPlan) -> int:
    """Deletes files of backups made by themselves that the plan keeps no longer, and what killed
    ones left. Returns how many. A file that is not on record as ours is never touched."""
    zone = ZoneInfo(shop_zone())
    rows = list(
        BackupRun.objects.filter(state="done", scheduled=True, gone_at=None).order_by("-began_at")
    )
    days = [row.began_at.astimezone(zone).date() for row in rows]
    stay = days_to_keep(days, daily=plan.daily, weekly=plan.weekly, monthly=plan.monthly)
    gone = 0
    for place, row in enumerate(rows):
        path = Path(row.path)
        if place in stay or not NAME.fullmatch(path.name):
            continue
        try:
            path.unlink(missing_ok=True)
        except OSError as problem:
            log.warning("%s stays: %s", path, problem)
            continue
        row.gone_at = timezone.now()
        row.save(update_fields=["gone_at"])
        gone += 1
    _drop_drafts(Path(plan.folder))
    return gone


def _drop_drafts(folder: Path) -> None:
    for draft in folder.glob(".kerfbook-*.zip.part"):
        with contextlib.suppress(OSError), draft.open("rb") as handle:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)  # held: it is being written
            draft.unlink()


@contextlib.contextmanager
def _only_one() -> Iterator[None]:
    try:
        lock = Lock(_lock_path(), _("the backup"))
    except Busy as held:
        raise BackupError(_("another backup is being made")) from held
    try:
        yield
    finally:
        lock.release()


def _lock_path() -> Path:
    return Path(settings.DATA_DIR) / "backup.lock"
