"""What wants a hand, as sentences with the action in them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from planning.calc.said import around, said_again, without_stop
from planning.reports.shapes import Act, JobToday, Note, TableToday
from planning.reports.today_data import TableData
from shopfloor.models import Fitting, PieceOutlook
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.wear.fitted import fitted_now
from shopfloor.wording.counts import count

MINUTE_US = 60_000_000
MOST_LATE = 3
LATE = (Act("Show open jobs", "jobs"),)


def _clock(at_us: int, zone: tzinfo) -> str:
    return f"{from_us(at_us).astimezone(zone):%H:%M}"


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
        body = "No source is set up for it, so nothing is measured: runs are as entered."
        return [Note("soon", f"{today.name} has no signal", body, table=today.code)]
    if since is None or since >= today.strip.now_us:
        return []
    body = f"{today.name} is unknown since {_clock(since, zone)}: its source gives no lines."
    act = Act("Look at the source", "feed", data.hearing.feed)
    return [Note("now", "A source is silent", body, (act,), today.code)]


def _unassigned(today: TableToday, zone: tzinfo) -> list[Note]:
    notes = []
    for cluster in today.unassigned:
        when = f"{_clock(cluster.from_us, zone)} to {_clock(cluster.to_us, zone)}"
        verb = "belong" if cluster.arcs > 1 else "belongs"
        body = f"{count(cluster.arcs, 'arc')} on {today.name}, {when}, {verb} to no job."
        act = Act("Say which job", "assign_arcs", cluster.first_key)
        notes.append(Note("now", "Arcs without a job", body, (act,), today.code))
    return notes


def _reasons(data: TableData, today: TableToday, zone: tzinfo) -> list[Note]:
    notes = []
    for stop in data.stops:
        if not stop.reasoned:
            minutes = (stop.to_us - stop.from_us) // MINUTE_US
            still = "has been stopped" if stop.open else "was stopped"
            body = f"{today.name} {still} {minutes} min from {_clock(stop.from_us, zone)}."
            act = Act("Give the reason", "reason", str(stop.pk))
            notes.append(Note("soon", "A stop without a reason", body, (act,), today.code))
    return notes


def _late(data: TableData, today: TableToday, zone: tzinfo) -> list[Note]:
    """Queue items whose plan ends after they are due: the first of each job, a few of them."""
    at = today.strip.now_us
    if today.current and today.current.rest_s:
        at += round(today.current.rest_s * 1_000_000)
    act = (Act("Change the order", "queue", today.code),)
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
        due = f"{item.due_at.astimezone(zone):%a %d %b %H:%M}"
        ends = f"{from_us(at).astimezone(zone):%a %d %b %H:%M}"
        whose = f" for {', '.join(item.jobs)}" if item.jobs else ""
        body = f"{item.nest}{whose} is planned to end {ends} at the earliest; it is due {due}."
        notes.append(Note("now", "It will be late", body, act, today.code))
    if more:
        verb = "ends after it is" if more == 1 else "end after they are"
        body = f"{count(more, 'more job')} in {today.name}'s queue {verb} due."
        notes.append(Note("soon", "More will be late", body, act, today.code))
    return notes


def _unplanned(data: TableData, today: TableToday) -> list[Note]:
    return [
        Note(
            "soon",
            "A nest without a plan",
            around(f"{item.nest} waits on {today.name} and has no plan: ", item.why, "."),
            (Act("Open the nest", "nest", str(item.nest_id)),),
            today.code,
        )
        for item in data.queue
        if item.total_s is None
    ]


def _overtime(today: TableToday, zone: tzinfo) -> list[Note]:
    forecast, end = today.strip.forecast, today.strip.shift_end_us
    if forecast is None or end is None or forecast.median_us <= end + 5 * MINUTE_US:
        return []
    over = (forecast.median_us - end) // MINUTE_US
    body = (
        f"{today.name}'s work ends about {_clock(forecast.median_us, zone)} "
        f"({_clock(forecast.low_us, zone)} to {_clock(forecast.high_us, zone)}), "
        f"{over} min after the shift."
    )
    act = Act("Change the order", "queue", today.code)
    return [Note("soon", "More than the shift holds", body, (act,), today.code)]


def overdue_notes(jobs: Sequence[JobToday], zone: tzinfo) -> list[Note]:
    """Open jobs that were due and still owe parts: the first few, then how many more."""
    rows = [job for job in jobs if job.late]
    notes = []
    for row in rows[:MOST_LATE]:
        due = f"{row.due_at.astimezone(zone):%a %d %b %H:%M}" if row.due_at else ""
        owes = count(row.shortage, "part")
        body = f"{row.job} for {row.customer} was due {due} and owes {owes}."
        act = Act("Open the job", "job", str(row.job_id))
        notes.append(Note("now", "A job is late", body, (act,)))
    if len(rows) > MOST_LATE:
        notes.append(_more_late(len(rows) - MOST_LATE))
    return notes


def _more_late(more: int) -> Note:
    if more == 1:
        return Note("soon", "One more job is late", "It is past its due date and owes parts.", LATE)
    body = f"{more:,} more jobs are past their due date and owe parts."
    return Note("soon", "More jobs are late", body, LATE)


def wear_notes() -> list[Note]:
    """Pieces in a torch that are due, or soon will be."""
    rows = [row for row in fitted_now() if _due(row) in ("due", "soon")]
    rows.sort(key=lambda row: (_due(row), row.torch.table.order, row.piece.part.kind))
    notes = []
    for row in rows:
        outlook, kind = row.piece.outlook, row.piece.part.kind.replace("_", " ")
        where = row.torch.table.name
        basis = said_again(outlook.basis_said, outlook.basis)
        act = (Act("Look at the piece", "wear", str(row.piece_id)),)
        if outlook.due == "due":
            body = around(f"The {kind} {row.piece.label} on {where} is due: ", basis, ".")
            notes.append(Note("now", "A piece is due", body, act, row.torch.table.code))
        else:
            left = outlook.starts_left
            has = "is due soon" if left is None else f"has about {count(left, 'start')} left"
            body = around(f"The {kind} {row.piece.label} on {where} {has} (", basis, ").")
            notes.append(Note("soon", "A piece about due", body, act, row.torch.table.code))
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
        well = f"{' and '.join(burning)} {'are' if len(burning) > 1 else 'is'} burning"
    elif running:
        well = f"{' and '.join(running)} {'have' if len(running) > 1 else 'has'} a run open"
    else:
        well = "no table has a run open"
    if not pressing:
        return f"Nothing needs attention now; {well}."
    more = len(pressing) - 1
    rest = f", and {more} more need{'s' if more == 1 else ''} attention" if more else ""
    return around("", without_stop(pressing[0].body), f"{rest}; {well}.")
