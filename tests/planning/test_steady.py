"""Background work goes on when the host's clock is set back."""

from __future__ import annotations

import heapq
import time
from datetime import datetime, timedelta
from itertools import pairwise

import pytest
from django.utils import timezone

from shopfloor.background.steady import Every, SteadyScheduler
from shopfloor.celery import app


def test_what_was_last_due_in_the_future_is_due_now():
    every = Every(15.0, app=app)
    now = every.now()
    assert every.is_due(now + timedelta(hours=2)) == (True, 15.0)
    assert every.is_due(now - timedelta(seconds=20)).is_due
    assert not every.is_due(now - timedelta(seconds=5)).is_due


def test_a_clock_set_back_starves_none_of_what_is_due(tmp_path, monkeypatch):
    scheduler = SteadyScheduler(app=app, schedule_filename=str(tmp_path / "beat"), lazy=True)
    scheduler.setup_schedule()
    steady, moved = [100.0], [0.0]
    began = datetime(2026, 3, 10, 6, tzinfo=timezone.get_default_timezone())
    monkeypatch.setattr(time, "monotonic", lambda: steady[0])
    nows = lambda *a, **k: began + timedelta(seconds=steady[0] + moved[0])  # noqa: E731
    monkeypatch.setattr(Every, "now", nows)
    sent: list[tuple[str, float]] = []
    monkeypatch.setattr(
        scheduler, "apply_async", lambda entry, **more: sent.append((entry.name, steady[0]))
    )
    for entry in scheduler.schedule.values():
        entry.last_run_at = nows()
    while steady[0] < 1100:  # what is due at the same second goes in any order
        if steady[0] == 700:
            moved[0] = -7200.0
        scheduler.tick()
        steady[0] += 1
    for name, least in (("kerfbook", 0), ("sweep", 50), ("freshen", 2), ("verify", 1)):
        times = [at for told, at in sent if told.endswith(name)]
        assert len(times) >= least, name
    sweeps = [at for told, at in sent if told == "sweep"]
    assert max(b - a for a, b in pairwise(sweeps)) <= 20
    assert [at for told, at in sent if told == "freshen" and at > 700]
    assert heapq.nsmallest(1, scheduler._heap)[0][0] < 1200
    scheduler.close()


@pytest.mark.django_db
def test_work_that_runs_since_a_later_clock_is_swept():
    from planning.services.work import resend_waiting
    from shopfloor.models import Work

    now = timezone.now()
    for key, started in (("a", now + timedelta(hours=2)), ("b", now - timedelta(minutes=1))):
        Work.objects.create(kind="run", key=key, payload={}, state="running", wanted_at=now,
                            started_at=started)  # fmt: skip
    assert resend_waiting() == 1
