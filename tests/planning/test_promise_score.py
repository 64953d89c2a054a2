"""Promises as they are kept, and scored when the truth is in."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.urls import reverse

from planning.calc.ahead.scores import level_asked
from planning.reports.promise import board
from planning.reports.promise_score import score
from planning.services import promises
from planning.services.promises import promises_say, promises_score
from shopfloor.models import (
    JobState,
    PartResult,
    Statement,
)
from tests.planning import cast
from tests.planning.fitted import fitted
from tests.planning.promised import HOUR, NOW, work

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("monday")]


def test_a_promise_is_widened_by_what_the_last_ranges_missed(days, north, operator):
    due = NOW + timedelta(days=1)
    job = work(operator, north, sheets=4, listed=north, due=due)
    row = fitted(north, NOW)
    plain = board(NOW)
    row.scale, row.computed_at = 1.6, NOW + timedelta(seconds=1)
    row.save()
    wide = board(NOW)
    before, after = (np.sort(shown.found.jobs[job.pk]) for shown in (plain, wide))
    for level in (0.1, 0.25, 0.9):
        place = math.ceil(level_asked(level, 1.6) * len(before)) - 1
        assert after[math.ceil(level * len(after)) - 1] == pytest.approx(before[place], abs=30)
    at = datetime.fromtimestamp(before[round(0.9 * len(before))], UTC)
    assert plain.found.chance(job.pk, at.timestamp()) == pytest.approx(0.9, abs=0.01)
    # the normal value of 0.9 is 1.2816; / 1.6 = 0.801, below which lies 0.788
    assert wide.found.chance(job.pk, at.timestamp()) == pytest.approx(0.788, abs=0.01)


def test_a_promise_is_kept_once_a_day_and_scored_when_the_truth_is_in(days, north, operator):
    kept = work(operator, north, number="J-1", sheets=1, listed=north, due=NOW + timedelta(days=1))
    late = work(operator, north, number="J-2", sheets=60, listed=north, due=NOW + timedelta(days=1))
    moved = work(operator, north, number="J-3", sheets=1, due=NOW + timedelta(days=2))
    assert promises_say(now=NOW) == 3
    assert promises_say(now=NOW + timedelta(hours=1)) == 0, "once a day"
    night = NOW + timedelta(hours=20, minutes=59)  # 04:59 in Chicago
    assert promises_say(now=night) == 0, "before five yesterday is still worked at"
    assert promises_score(now=NOW + timedelta(hours=2)) == 0
    assert score() is None
    run = cast.run(kept.lines.get().contours.get().revision, north, start=NOW, seconds=HOUR)
    PartResult.objects.create(
        run=run, line=kept.lines.get(), outcome="good", quantity=1, by=operator, at=NOW
    )
    moved.due_at = NOW + timedelta(days=9)
    moved.save()
    assert promises_score(now=NOW + timedelta(hours=3)) == 2
    assert promises_score(now=NOW + timedelta(days=1, hours=13)) == 1
    said = {one.subject: one for one in Statement.objects.all()}
    assert said[str(kept.pk)].outcome == 1
    assert said[str(late.pk)].outcome == 0
    assert said[str(moved.pk)].voided == "due_moved"
    told = score()
    by_hand = [(said[str(job.pk)].chance - was) ** 2 for job, was in ((kept, 1), (late, 0))]
    assert (told.scored, told.kept, told.moved, told.voided) == (2, 1, 1, 0)
    assert told.brier == pytest.approx(sum(by_hand) / 2)


def test_promises_far_ahead_do_not_keep_newer_ones_from_their_score(
    days, north, operator, monkeypatch
):
    monkeypatch.setattr(promises, "AT_ONCE", 2)
    far = [
        work(operator, north, number=f"F-{n}", listed=north, due=NOW + timedelta(days=60 + n))
        for n in range(3)
    ]
    promises_say(now=NOW)
    at = NOW + timedelta(days=1)
    soon = work(operator, north, number="J-1", sheets=60, listed=north, due=at + timedelta(hours=2))
    assert promises_say(now=at) == 4
    assert promises_score(now=at + timedelta(hours=15)) == 1
    assert Statement.objects.get(subject=str(soon.pk)).outcome == 0
    far[0].state = JobState.HELD
    far[0].save()
    far[1].due_at = NOW + timedelta(days=80)
    far[1].save()
    assert [promises_score(now=at + timedelta(hours=3)) for _n in range(3)] == [2, 2, 0]
    voided = set(Statement.objects.exclude(voided="").values_list("subject", "voided"))
    assert voided == {(str(far[0].pk), "job_held"), (str(far[1].pk), "due_moved")}


def test_a_job_done_after_its_date_was_not_kept(days, north, operator):
    job = work(operator, north, sheets=1, listed=north, due=NOW + timedelta(hours=1))
    promises_say(now=NOW)
    run = cast.run(job.lines.get().contours.get().revision, north, start=NOW, seconds=2 * HOUR)
    PartResult.objects.create(
        run=run, line=job.lines.get(), outcome="good", quantity=1, by=operator, at=NOW
    )
    promises_score(now=NOW + timedelta(hours=3))
    assert Statement.objects.get().outcome == 0


def test_a_run_entered_late_still_keeps_its_promise(days, north, operator):
    """Burnt in time; the tablet that counted it was away until an hour after the due date."""
    job = work(operator, north, sheets=1, listed=north, due=NOW + timedelta(hours=4))
    promises_say(now=NOW)
    assert promises_score(now=NOW + timedelta(hours=4, minutes=30)) == 0
    run = cast.run(job.lines.get().contours.get().revision, north, start=NOW, seconds=2 * HOUR)
    PartResult.objects.create(
        run=run, line=job.lines.get(), outcome="good", quantity=1, by=operator, at=NOW
    )
    assert promises_score(now=NOW + timedelta(hours=5)) == 1
    assert Statement.objects.get().outcome == 1


def test_promises_of_moved_dates_are_counted_apart(days, north, operator, client, supervisor):
    jobs = [
        work(operator, north, number=f"J-{n}", listed=north, due=NOW + timedelta(hours=3 + n))
        for n in range(4)
    ]
    assert promises_say(now=NOW) == 4
    for job in jobs[:2]:
        job.due_at = NOW + timedelta(days=9)
        job.save()
    jobs[2].state = JobState.HELD
    jobs[2].save()
    assert promises_score(now=NOW + timedelta(days=1)) == 4
    client.force_login(supervisor)
    words = " ".join(
        re.sub(r"<[^>]*>", "", client.get(reverse("promises")).content.decode()).split()
    )
    assert "2 more do not count: the job was given another due date." in words
    assert "1 more does not count: the job changed." in words


def test_a_job_is_done_with_its_last_arc_not_with_unloading(days, north, operator):
    """Burnt a minute before its date, closed two minutes after it."""
    due = NOW + timedelta(hours=1)
    job = work(operator, north, sheets=1, listed=north, due=due)
    promises_say(now=NOW)
    line = job.lines.get()
    run = cast.run(line.contours.get().revision, north, start=NOW, seconds=HOUR + 120)
    cast.arcs(run, [(60, HOUR - 60, 1)], start=NOW)
    PartResult.objects.create(run=run, line=line, outcome="good", quantity=1, by=operator, at=due)
    promises_score(now=NOW + timedelta(hours=3))
    assert Statement.objects.get().outcome == 1
