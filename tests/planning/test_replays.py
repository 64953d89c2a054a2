"""What would have been said of past days: from what was known then, made once, shown apart."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.urls import reverse

from planning.calc.ahead.promise import LEVELS, drawn, promised
from planning.inputs import past_work
from planning.inputs.past_work import PastWork
from planning.reports.promise_score import score
from planning.services.promises import done_at, promises_say, promises_score
from planning.services.replays import KIND, SETTLED, replay_day, replay_days, replays_wanted
from planning.services.table_time import table_time_write
from shopfloor.models import (
    Change,
    ClosedDay,
    Job,
    NestRevision,
    PartResult,
    QueueItem,
    Statement,
    Summary,
    TableDown,
    TableTime,
    Work,
)
from tests.planning import cast
from tests.planning.promised import HOUR, NOW, work

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("monday")]
AT = datetime(2026, 10, 8, 10, tzinfo=UTC)  # Thursday 05:00 in Chicago
DAY = date(2026, 10, 8)
LATER = AT + timedelta(days=6)


@pytest.fixture(autouse=True)
def small_fits(monkeypatch):
    monkeypatch.setattr(past_work, "SWEEPS", 24)
    monkeypatch.setattr(past_work, "KEPT", 12)


@pytest.fixture
def begun(days, north, operator):
    """A job of twelve hours and one of one hour behind it, of which five sheets were burnt by
    Wednesday; recorded as it happened."""
    job = work(operator, north, sheets=12, listed=north, due=AT + timedelta(hours=27))
    small = work(operator, north, number="J-2", listed=north, due=AT + timedelta(hours=33))
    for place in range(5):
        _burnt(job, north, operator, NOW + timedelta(days=place // 2, hours=2 * (place % 2)))
    Change.objects.update(at=NOW - timedelta(days=1))
    return job, small


def _burnt(job, table, operator, start, *, took=HOUR):
    """One sheet, as a tablet and the table tell of it."""
    line = job.lines.get()
    item = QueueItem.objects.filter(nest__name=f"N-{job.number}", state="waiting").first()
    of = cast.run(
        line.contours.first().revision, table, start=start, seconds=took, operator=operator,
        queue_item=item, plan=cast.plan([100.0] * 33),
    )  # fmt: skip
    each = (took - 600) / 33
    spans = [(300 + n * each, 300 + (n + 0.9) * each, n + 1) for n in range(33)]
    cast.arcs(of, spans, start=start)
    if item:
        item.state = "done"
        item.save()
    PartResult.objects.create(
        run=of, line=line, outcome="good", quantity=1, by=operator,
        at=start + timedelta(seconds=took),
    )  # fmt: skip
    return of


def _said(now):
    stood = PastWork(AT, now).stood(AT, {})
    found = drawn(stood.tables)
    return {
        job: (
            due,
            found.chance(job, due.timestamp()),
            [promised(found.jobs[job], level) for level in LEVELS],
        )
        for job, due in stood.dues.items()
    }


def test_nothing_known_only_later_changes_what_is_replayed(begun, north, operator):
    job, small = begun
    before = _said(AT)
    assert set(before) == {job.pk, small.pk}
    assert 0.02 < before[job.pk][1] < 0.98, "a chance that could move"
    with time_machine.travel(AT + timedelta(days=1), tick=False):
        slow = _burnt(job, north, operator, AT + timedelta(hours=2), took=5 * HOUR)
        cast.stoppage(slow, AT + timedelta(hours=3), 3 * HOUR)
        fast = AT + timedelta(hours=8)
        _burnt(small, north, operator, fast, took=700.0)
        work(operator, north, number="J-9", sheets=9, listed=north, due=AT + timedelta(hours=2))
        QueueItem.objects.filter(state="waiting").update(position=0)
        QueueItem.objects.filter(nest__name="N-J-1", state="waiting").first().delete()
        Job.objects.filter(pk=small.pk).update(due_at=AT + timedelta(days=20))
        nest = job.lines.get().contours.first().revision.nest
        nest.sheets_wanted = 40
        nest.save()
        other = nest.revisions.get()
        NestRevision.objects.create(
            nest=nest, revision=2, program=b"M30\n", file_name="x", bytes_sha256="x",
            path_sha256="x", made_by=other.made_by,
        )  # fmt: skip
        ClosedDay.objects.create(day=DAY, why="found out at noon")
        TableDown.objects.create(
            table=north, started_at=AT + timedelta(hours=9), ended_at=AT + timedelta(days=3)
        )
    Change.objects.filter(at__gt=NOW).update(at=AT + timedelta(days=1))
    assert _said(LATER) == before


def test_what_was_known_at_the_moment_does(begun, north, operator):
    job, _small = begun
    before = _said(AT)[job.pk][1]
    TableDown.objects.create(
        table=north, planned=True, started_at=AT + timedelta(hours=2), ended_at=AT + timedelta(3)
    )
    Change.objects.filter(at__gt=NOW).update(at=AT - timedelta(hours=1))
    assert _said(LATER)[job.pk][1] < before - 0.01


def test_a_replayed_day_is_made_once_and_scored(begun, north, operator):
    job, small = begun
    for place in range(7):
        _burnt(job, north, operator, AT + timedelta(hours=1 + 1.1 * place))
    Change.objects.filter(at__gt=NOW).update(at=LATER)
    past = PastWork(AT, LATER)
    ends = done_at(Job.objects.values_list("pk", flat=True))
    replay_day(past, DAY, ends)
    made = list(Statement.objects.values_list("kind", "subject", "slot", "chance", "outcome"))
    promise = Statement.objects.get(kind="promise", subject=str(job.pk))
    assert promise.replayed
    assert promise.made_at == AT
    assert promise.outcome == 1, "its last sheet was burnt on Thursday"
    assert promise.crps == pytest.approx((promise.chance - 1) ** 2)
    late = Statement.objects.get(kind="promise", subject=str(small.pk))
    assert late.outcome == 0, "never burnt, and due on Friday"
    assert late.rests_on["held"] == [False] * 4
    ended = Statement.objects.get(kind="end", slot="first")
    assert ended.replayed
    assert ended.outcome in {
        arc[1]
        for run in past.books[north.pk].runs
        for arc in run.arcs
        if arc[1] > ended.outcome - 1
    }
    replay_day(past, DAY, ends)
    again = list(Statement.objects.values_list("kind", "subject", "slot", "chance", "outcome"))
    assert again == made, "never twice"


def test_whether_a_promise_counts_does_not_hang_on_how_it_came_out(begun, north, operator):
    """Else those done early would count, and those that still may be late would not."""
    job, small = begun
    for place in range(7):
        _burnt(job, north, operator, AT + timedelta(hours=1 + 1.1 * place))
    Change.objects.filter(at__gt=NOW).update(at=LATER)
    ends = done_at(Job.objects.values_list("pk", flat=True))
    assert set(ends) == {job.pk}
    for hours, counted in ((24, set()), (30, {job.pk}), (36, {job.pk, small.pk})):
        Statement.objects.all().delete()
        replay_day(PastWork(AT, AT + SETTLED + timedelta(hours=hours)), DAY, ends)
        said = Statement.objects.filter(kind="promise")
        assert {int(one.subject) for one in said} == counted
        sure = AT + timedelta(hours=hours)
        for one in said:
            known = [day <= sure.timestamp() for day in one.rests_on["days"]]
            assert [held is not None for held in one.rests_on["held"]] == known
            assert len(one.rests_on["by_day"]) == 1, "the day after next is not over for either"


def test_a_day_after_the_due_date_counts_for_no_job(days, north, operator):
    """One that is late is scored at its due date, when it is not known whether that day holds."""
    jobs = [
        work(operator, north, number=f"J-{n}", listed=north, due=NOW + timedelta(hours=9))
        for n in range(2)
    ]
    promises_say(now=NOW)
    for said in Statement.objects.all():
        said.rests_on["days"] = [(NOW + timedelta(hours=h)).timestamp() for h in (2, 8, 10, 30)]
        said.save()
    _burnt(jobs[0], north, operator, NOW)
    assert promises_score(now=NOW + timedelta(hours=3)) == 1
    assert promises_score(now=NOW + timedelta(hours=21, minutes=1)) == 1
    held = {int(one.subject): one.rests_on["held"] for one in Statement.objects.all()}
    assert held == {jobs[0].pk: [True, True, None, None], jobs[1].pk: [False, False, None, None]}


def test_a_statement_that_was_shown_keeps_its_place(begun, north, operator):
    job, _small = begun
    shown = Statement.objects.create(
        kind="promise", subject=str(job.pk), slot=str(DAY), made_at=AT, model=1, seed=1, chance=0.5
    )
    past = PastWork(AT, LATER)
    replay_day(past, DAY, {})
    assert Statement.objects.get(subject=str(job.pk), slot=str(DAY)) == shown
    assert not Statement.objects.get(pk=shown.pk).replayed
    assert promises_score(now=LATER) == 1


def test_days_are_replayed_in_the_background_and_never_again(begun, north, operator, monkeypatch):
    first = NOW - timedelta(days=30)
    _burnt(begun[0], north, operator, first)
    with time_machine.travel(LATER, tick=False):
        assert replays_wanted(now=LATER) == 0, "what was measured is still coming in"
        table_time_write(key=str(north.pk), payload={})
        waits = Work.objects.create(kind="run", key="1", wanted_at=LATER)
        assert replays_wanted(now=LATER) == 0
        waits.delete()
        assert replays_wanted(now=LATER) > 0
        assert replays_wanted(now=LATER) > 0
        assert Work.objects.filter(kind=KIND).count() == 1
        body = Summary.objects.get(kind=KIND).body
        assert body == {"next": str((first + timedelta(days=21)).date()), "last": "2026-10-11"}
        monkeypatch.setattr("planning.services.replays.BUDGET_S", 0.0)
        replay_days(key="shop", payload={})
        assert Summary.objects.get(kind=KIND).body == body, "no time, no day"
        monkeypatch.setattr("planning.services.replays.BUDGET_S", 60.0)
        replay_days(key="shop", payload={})
        assert replays_wanted(now=LATER) == 0
        many = Statement.objects.filter(replayed=True).count()
        assert many > 2
        assert not Statement.objects.filter(replayed=False).exists()
        replay_days(key="shop", payload={})
        assert Statement.objects.count() == many
    said = Statement.objects.filter(kind="end", slot="first").count()
    scored = TableTime.objects.get(table=north)
    assert scored.scored["replayed"]["said"] == said
    assert "said" not in scored.scored
    assert scored.scale == 1.0


def test_an_empty_shop_has_nothing_to_replay(shop):
    assert replays_wanted(now=NOW) == 0
    assert not Summary.objects.filter(kind=KIND).exists()


def test_replayed_promises_stand_apart_on_the_page(begun, north, client, supervisor):
    job, small = begun
    for of, chance, outcome, replayed in (
        (job, 0.9, 1.0, False), (job, 0.85, 1.0, True), (small, 0.15, 0.0, True)
    ):  # fmt: skip
        Statement.objects.create(
            kind="promise", subject=str(of.pk), slot=f"{replayed}", made_at=AT, model=1, seed=1,
            chance=chance, outcome=outcome, scored_at=AT, replayed=replayed,
            rests_on={"held": [False, True, True, None]},
        )  # fmt: skip
    assert (score().scored, score(replayed=True).scored) == (1, 2)
    days = [(one.said, one.days, one.kept) for one in score(replayed=True).days]
    assert days == [(50, 2, 0), (80, 2, 2), (90, 2, 2)]
    client.force_login(supervisor)
    page = client.get(reverse("promises")).content.decode()
    words = " ".join(re.sub(r"<[^>]*>", " ", page).split())
    replayed = words[words.index("What would have been said") :]
    assert "Of the last promise 1 was kept." in words
    assert "Of the last 2 promises 1 were kept. Brier score 0.02" in replayed
    assert "What would have been said of past days" in words


def test_the_days_that_were_promised_are_scored_with_the_chance(days, north, operator):
    job = work(operator, north, sheets=1, listed=north, due=NOW + timedelta(days=1))
    promises_say(now=NOW)
    said = Statement.objects.get()
    first, *_rest, last = said.rests_on["days"]
    between = datetime.fromtimestamp((first + last) / 2, UTC)
    run = cast.run(
        job.lines.get().contours.get().revision, north, start=NOW,
        seconds=(between - NOW).total_seconds(),
    )  # fmt: skip
    PartResult.objects.create(
        run=run, line=job.lines.get(), outcome="good", quantity=1, by=operator, at=between
    )
    promises_score(now=NOW + timedelta(hours=6))
    held = Statement.objects.get().rests_on["held"]
    assert held == [day >= between.timestamp() for day in said.rests_on["days"]]
    assert (held[0], held[-1]) == (False, True)
