"""What wants a hand, as sentences with the action in them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from planning.calc.dates import day_time, timed
from planning.calc.numbers import filled
from planning.calc.said import said, said_again, said_of_many
from planning.reports.shapes import Act, JobToday, Note, TableToday
from planning.reports.today_data import TableData
from shopfloor.models import Fitting, PieceOutlook
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.wear.fitted import fitted_now
from shopfloor.wording.counts import count
from shopfloor.wording.states import words

MINUTE_US = 60_000_000
MOST_LATE = 3
LATE = (Act(said("Show open jobs"), "jobs"),)


def _clock(at_us: int, zone: tzinfo) -> str:
    return timed(from_us(at_us).astimezone(zone))


def table_notes(data: TableData, today: TableToday, zone: tzinfo) -> list[Note]:
    """One table's notes, most pressing first."""
    return [
        *_silent(data, today, zone),
        *_unassigned(today, zone),
        *_reasons(data, today, zone),
        *_late(data, today, zone),
        *_unplanned(data, today),
        *_overtime(today, zone),
    ]


def _silent(data: TableData, today: TableToday, zone: tzinfo) -> list[Note]:
    since = data.hearing.silent_since_us
    if not data.hearing.listens:
        body = _("No source is set up for it, so nothing is measured: runs are as entered.")
        return [
            Note(
                "soon", _("{today} has no signal").format(today=today.name), body, table=today.code
            )
        ]
    if since is None or since >= today.strip.now_us:
        return []
    body = _("{today} is unknown since {since}: its source gives no lines.").format(
        today=today.name, since=_clock(since, zone)
    )
    act = Act(_("Look at the source"), "feed", data.hearing.feed)
    return [Note("now", _("A source is silent"), body, (act,), today.code)]


def _unassigned(today: TableToday, zone: tzinfo) -> list[Note]:
    notes = []
    for cluster in today.unassigned:
        body = filled(
            ngettext(
                "{arcs:,} arc on {table}, {start} to {end}, belongs to no job.",
                "{arcs:,} arcs on {table}, {start} to {end}, belong to no job.",
                cluster.arcs,
            ),
            arcs=cluster.arcs,
            table=today.name,
            start=_clock(cluster.from_us, zone),
            end=_clock(cluster.to_us, zone),
        )
        act = Act(_("Say which job"), "assign_arcs", cluster.first_key)
        notes.append(Note("now", _("Arcs without a job"), body, (act,), today.code))
    return notes


def _reasons(data: TableData, today: TableToday, zone: tzinfo) -> list[Note]:
    notes = []
    for stop in data.stops:
        if not stop.reasoned:
            minutes = (stop.to_us - stop.from_us) // MINUTE_US
            body = (
                _("{table} has been stopped {minutes} min from {time}.")
                if stop.open
                else _("{table} was stopped {minutes} min from {time}.")
            ).format(table=today.name, minutes=minutes, time=_clock(stop.from_us, zone))
            act = Act(_("Give the reason"), "reason", str(stop.pk))
            notes.append(Note("soon", _("A stop without a reason"), body, (act,), today.code))
    return notes


def _late(data: TableData, today: TableToday, zone: tzinfo) -> list[Note]:
    """Queue items whose plan ends after they are due: the first of each job, a few of them."""
    at = today.strip.now_us
    if today.current and today.current.rest_s:
        at += round(today.current.rest_s * 1_000_000)
    act = (Act(_("Change the order"), "queue", today.code),)
    notes: list[Note] = []
    more, said = 0, set[tuple[str, ...]]()
    for item in data.queue:
        if item.total_s is None:
            break
        at += round(item.total_s * 1_000_000)
        if item.due_at is None or item.jobs in said:
            continue
        if not today.strip.now_us < to_us(item.due_at) < at:  # what is overdue is said by job
            continue
        said.add(item.jobs or (item.nest,))
        if len(notes) == MOST_LATE:
            more += 1
            continue
        due = day_time(item.due_at.astimezone(zone))
        ends = day_time(from_us(at).astimezone(zone))
        body = (
            _("{nest} for {jobs} is planned to end {ends} at the earliest; it is due {due}.")
            if item.jobs
            else _("{nest} is planned to end {ends} at the earliest; it is due {due}.")
        ).format(nest=item.nest, jobs=", ".join(item.jobs), ends=ends, due=due)
        notes.append(Note("now", _("It will be late"), body, act, today.code))
    if more:
        body = filled(
            ngettext(
                "{more:,} more job in {table}'s queue ends after it is due.",
                "{more:,} more jobs in {table}'s queue end after they are due.",
                more,
            ),
            more=more,
            table=today.name,
        )
        notes.append(Note("soon", _("More will be late"), body, act, today.code))
    return notes


def _unplanned(data: TableData, today: TableToday) -> list[Note]:
    return [
        Note(
            "soon",
            _("A nest without a plan"),
            said(
                "{nest} waits on {table} and has no plan: {why}.",
                nest=item.nest,
                table=today.name,
                why=item.why,
            ),
            (Act(_("Open the nest"), "nest", str(item.nest_id)),),
            today.code,
        )
        for item in data.queue
        if item.total_s is None
    ]


def _overtime(today: TableToday, zone: tzinfo) -> list[Note]:
    """What begins in this shift, by plan, and will more likely not be done in it."""
    ends, end_us = today.outlook.ends if today.outlook else None, today.strip.shift_end_us
    left = ends.left if ends is not None else ()
    if not left or end_us is None or not today.shift:
        return []
    body = _(
        "{nest} on {table} will more likely not be done by {end}, when the shift ends "
        "({chance:.0f} chances in 100 that it is)."
    ).format(
        nest=left[0].nest, table=today.name, end=_clock(end_us, zone), chance=left[0].chance * 100
    )
    act = Act(_("Change the order"), "queue", today.code)
    return [Note("soon", _("More than the shift holds"), body, (act,), today.code)]


def overdue_notes(jobs: Sequence[JobToday], zone: tzinfo) -> list[Note]:
    """Open jobs that were due and still owe parts: the first few, then how many more."""
    rows = [job for job in jobs if job.late]
    notes = []
    for row in rows[:MOST_LATE]:
        due = day_time(row.due_at.astimezone(zone)) if row.due_at else ""
        owes = count(row.shortage, "{n} part", "{n} parts")
        body = _("{job} for {customer} was due {due} and owes {owes}.").format(
            job=row.job, customer=row.customer, due=due, owes=owes
        )
        act = Act(_("Open the job"), "job", str(row.job_id))
        notes.append(Note("now", _("A job is late"), body, (act,)))
    if len(rows) > MOST_LATE:
        notes.append(_more_late(len(rows) - MOST_LATE))
    return notes


def _more_late(more: int) -> Note:
    if more == 1:
        return Note(
            "soon", _("One more job is late"), _("It is past its due date and owes parts."), LATE
        )
    body = filled(_("{more:,} more jobs are past their due date and owe parts."), more=more)
    return Note("soon", _("More jobs are late"), body, LATE)


def wear_notes() -> list[Note]:
    """Pieces in a torch that are due, or soon will be."""
    rows = [row for row in fitted_now() if _due(row) in ("due", "soon")]
    rows.sort(key=lambda row: (_due(row), row.torch.table.order, row.piece.part.kind))
    notes = []
    for row in rows:
        outlook, kind = row.piece.outlook, words(row.piece.part.kind)
        where = row.torch.table.name
        named = {
            "kind": kind,
            "piece": row.piece.label,
            "table": where,
            "basis": said_again(outlook.basis_said, outlook.basis),
        }
        act = (Act(_("Look at the piece"), "wear", str(row.piece_id)),)
        if outlook.due == "due":
            body = said("The {kind} {piece} on {table} is due: {basis}.", **named)
            notes.append(Note("now", _("A piece is due"), body, act, row.torch.table.code))
        else:
            left = outlook.starts_left
            body = (
                said("The {kind} {piece} on {table} is due soon ({basis}).", **named)
                if left is None
                else said_of_many(
                    "The {kind} {piece} on {table} has about {number:,} start left ({basis}).",
                    "The {kind} {piece} on {table} has about {number:,} starts left ({basis}).",
                    left,
                    **named,
                )
            )
            notes.append(Note("soon", _("A piece about due"), body, act, row.torch.table.code))
    return notes


def _due(row: Fitting) -> str:
    """What its outlook says of when it is due; "" where it has none yet."""
    outlook: PieceOutlook | None = getattr(row.piece, "outlook", None)
    return outlook.due if outlook else ""


def lede(tables: Sequence[TableToday], notes: Sequence[Note]) -> str:
    """One sentence: what is wrong, then what is well."""
    pressing = [note for note in notes if note.kind == "now"]
    burning = [
        each.name
        for each in tables
        if each.strip.arcs and any(arc.state == "open" for arc in each.strip.arcs)
    ]
    running = [each.name for each in tables if each.current is not None]
    if burning:
        well = (
            _("{burning} are burning") if len(burning) > 1 else _("{burning} is burning")
        ).format(burning=" and ".join(burning))
    elif running:
        well = (
            _("{running} have a run open") if len(running) > 1 else _("{running} has a run open")
        ).format(running=" and ".join(running))
    else:
        well = _("no table has a run open")
    if not pressing:
        return _("Nothing needs attention now; {well}.").format(well=well)
    more = len(pressing) - 1
    first = pressing[0].body
    if not more:
        return said("{first:open}; {well}.", first=first, well=well)
    return said_of_many(
        "{first:open}, and {number} more needs attention; {well}.",
        "{first:open}, and {number} more need attention; {well}.",
        more,
        first=first,
        well=well,
    )
