"""Backups by themselves: due, failed, thinned, and what the pages say of them."""

from __future__ import annotations

import fcntl
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from planning.reports.notes.at_desk import of_backups
from planning.reports.notes.reading import of_found
from planning.services.work import KINDS
from shopfloor.backup import services as service
from shopfloor.backup.archive import BackupError
from shopfloor.backup.make import Made
from shopfloor.backup.queries import backup_age_s, backup_state
from shopfloor.backup.services import backup_begin, backup_plan_set, backup_scheduled, backups_due
from shopfloor.management.commands import backup as command
from shopfloor.models import BackupPlan, BackupRun, SecurityEvent, Work
from tests.markup import worded

NOW = datetime(2026, 11, 30, 18, tzinfo=UTC)  # noon in Chicago
DUE = datetime(2026, 11, 30, 9, tzinfo=UTC)  # 03:00 there

pytestmark = pytest.mark.django_db


@pytest.fixture
def folder(tmp_path) -> Path:
    made = tmp_path / "elsewhere"
    made.mkdir()
    return made


@pytest.fixture
def plan(shop, folder) -> BackupPlan:
    return backup_plan_set(
        active=True, at=time(3), folder=str(folder), inside=False, daily=2, weekly=1, monthly=1
    )


def run_at(ended: datetime, state: str = "done", **more) -> BackupRun:
    values = {"path": "/b/kerfbook-x.zip", "size": 1, "scheduled": True, **more}
    return BackupRun.objects.create(
        began_at=ended - timedelta(minutes=1), ended_at=ended, state=state, **values
    )


def wanted() -> bool:
    return Work.objects.filter(kind="backup", state="waiting").exists()


def test_it_is_wanted_once_a_day_and_after_a_failure_an_hour_later(plan):
    run_at(DUE - timedelta(hours=2))
    assert backups_due(now=NOW)
    assert wanted()
    Work.objects.all().delete()
    run_at(NOW - timedelta(minutes=59), state="failed")
    assert not backups_due(now=NOW)
    assert backups_due(now=NOW + timedelta(minutes=2))
    run_at(DUE + timedelta(minutes=5))
    Work.objects.all().delete()
    assert not backups_due(now=NOW + timedelta(hours=14))
    assert backups_due(now=NOW + timedelta(hours=15))


def test_nothing_is_wanted_without_a_plan_or_while_one_runs(shop, plan, settings):
    with (settings.DATA_DIR / "backup.lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        assert not backups_due(now=NOW)
    BackupPlan.objects.update(active=False)
    assert not backups_due(now=NOW)
    assert not wanted()


def test_the_work_begins_a_process_of_its_own_and_waits_for_nothing(plan, monkeypatch):
    begun = []

    class Child:
        def __init__(self, command, **more):
            begun.append(command)

        def poll(self):
            return None

    monkeypatch.setattr(service.subprocess, "Popen", Child)
    monkeypatch.setattr(service, "_children", [])
    backup_begin(key="everything", payload={})
    assert begun[0][-2:] == ["backup", "--scheduled"]
    assert KINDS["backup"].endswith(":backup_begin")


def made_by(monkeypatch, at: list[datetime]) -> None:
    """Backups of a few bytes, at the instants given."""

    def make(path: Path) -> Made:
        path.write_bytes(b"whole")
        return Made(path, 5, {}, 0)

    monkeypatch.setattr(service, "backup_make", make)
    monkeypatch.setattr(service.timezone, "now", lambda: at[0])


def test_old_ones_go_and_nothing_else_does(plan, folder, monkeypatch):
    """Two days, one week, one month are kept: of ten days the last two stay, since the newest of
    week and month is the last one too."""
    at = [NOW - timedelta(days=9)]
    made_by(monkeypatch, at)
    (folder / "kerfbook-20200101T000000Z.zip").write_text("not ours, by the records")
    (folder / ".kerfbook-20261101T000000Z.zip.part").write_text("left by a kill")
    for _ in range(10):
        backup_scheduled()
        at[0] += timedelta(days=1)
    assert sorted(path.name for path in folder.iterdir()) == [
        "kerfbook-20200101T000000Z.zip",
        "kerfbook-20261129T180000Z.zip",
        "kerfbook-20261130T180000Z.zip",
    ]
    assert BackupRun.objects.filter(gone_at=None).count() == 2
    assert BackupRun.objects.count() == 10


def test_a_failure_is_on_record_and_lets_no_old_one_go(plan, folder, monkeypatch):
    made_by(monkeypatch, [NOW])
    backup_scheduled()

    def fail(path: Path) -> Made:
        raise BackupError(f"{path}: No space left on device")

    monkeypatch.setattr(service, "backup_make", fail)
    with pytest.raises(BackupError):
        backup_scheduled()
    assert len(list(folder.iterdir())) == 1
    state = backup_state(NOW)
    assert state.good is not None
    assert state.failed is not None
    assert "No space left" in state.failed.said


def test_a_folder_that_went_is_a_failure_with_its_reason(plan, folder):
    folder.rmdir()
    with pytest.raises(BackupError, match="no such folder"):
        backup_scheduled()
    assert BackupRun.objects.get().state == "failed"


def test_the_data_folder_takes_backups_only_where_that_was_confirmed(shop, settings):
    inside = settings.DATA_DIR / "backups"
    inside.mkdir()
    values = {"active": True, "at": time(3), "daily": 1, "weekly": 0, "monthly": 0}
    with pytest.raises(ValidationError, match="lost with what it saves"):
        backup_plan_set(folder=str(inside), inside=False, **values)
    (settings.DATA_DIR.parent / "link").symlink_to(inside)
    with pytest.raises(ValidationError, match="lost with what it saves"):
        backup_plan_set(folder=str(settings.DATA_DIR.parent / "link"), inside=False, **values)
    assert backup_plan_set(folder=str(inside), inside=True, **values).folder == str(inside)
    for other in ("", "relative", "/no/such/folder", str(settings.DATA_DIR / "secret.key")):
        with pytest.raises(ValidationError, match="no such folder"):
            backup_plan_set(folder=other, inside=True, **values)


def test_an_administrator_sets_it_and_makes_one_now(shop, client, administrator, folder):
    client.force_login(administrator)
    page = reverse("backups")
    assert "No backup yet" in client.get(page).content.decode()
    client.post(reverse("backup_make"))
    assert not wanted()
    sent = {"active": "on", "at": "03:30", "folder": str(folder), "daily": 7, "weekly": 4}
    assert "required" in client.post(page, sent).content.decode()
    assert client.post(page, {**sent, "monthly": 12}).status_code == 302
    assert BackupPlan.objects.get().at == time(3, 30)
    client.post(reverse("backup_make"))
    assert wanted()
    run_at(timezone.now() - timedelta(hours=5), path=str(folder / "kerfbook-a.zip"), size=1_300_000)
    run_at(timezone.now() - timedelta(hours=1), state="failed", said="No space left on device")
    shown = worded(client.get(page).content.decode())
    for words in ("5 h 00 min ago", "1.2", "kerfbook-a.zip", "No space left on device", "Next "):
        assert words in shown


def test_healthz_says_the_age_and_nothing_more(shop, client):
    assert client.get("/healthz").json()["backup_age_s"] is None
    run_at(timezone.now() - timedelta(hours=5))
    run_at(timezone.now() - timedelta(hours=1), state="failed")
    told = client.get("/healthz")
    assert 5 * 3600 <= told.json()["backup_age_s"] < 5 * 3600 + 60
    assert b"kerfbook-" not in told.content
    assert backup_age_s(timezone.now() - timedelta(days=1)) == 0  # a clock set back


def backup_notes(now):
    return of_found(of_backups(now), [], now, UTC)


def test_today_says_that_none_is_younger_than_two_days(shop):
    now = timezone.now()
    assert backup_notes(now) == []  # the shop itself is younger
    assert [note.body for note in backup_notes(now + timedelta(days=3))] == [
        "There is no backup yet."
    ]
    run_at(now)
    assert backup_notes(now + timedelta(hours=47)) == []
    run_at(now + timedelta(days=1), state="failed", said="No space left on device")
    (note,) = backup_notes(now + timedelta(days=3))
    assert (
        note.body == "The last backup is 3 days old. The last try failed: No space left on device"
    )


def exported() -> list[tuple[str, str]]:
    events = SecurityEvent.objects.filter(kind="exported").order_by("pk")
    return list(events.values_list("by", "text"))


def test_who_writes_everything_to_a_file_is_in_the_security_log(plan, owner, monkeypatch, tmp_path):
    def made(path):
        return Made(path, 3, {}, 1)

    monkeypatch.setattr(service, "backup_make", made)
    monkeypatch.setattr(command, "backup_make", made)
    monkeypatch.setattr(command.signal, "signal", lambda *_: None)
    call_command("backup", "--scheduled", "--json")
    call_command("backup", "--scheduled", "--json", "--by", str(owner.pk))
    call_command("backup", str(tmp_path / "b.zip"), "--json")
    assert [by for by, _ in exported()] == ["schedule", f"user:{owner.username}", "command backup"]
    assert exported()[2][1] == f"backup to {tmp_path / 'b.zip'}"


def test_who_presses_is_told_to_the_process(plan, owner, monkeypatch):
    begun = []
    monkeypatch.setattr(service.subprocess, "Popen", lambda words, **_: begun.append(words))
    service.backup_now(by=owner)
    work = Work.objects.get(kind="backup")
    monkeypatch.setattr(service, "_children", [])
    backup_begin(key=work.key, payload=work.payload)
    assert begun[0][-3:] == ["--scheduled", "--by", str(owner.pk)]


def test_a_backup_that_failed_exported_nothing(plan):
    service.backup_note(path=Path("/b/x.zip"), began=NOW, said="full", scheduled=True)
    assert exported() == []
