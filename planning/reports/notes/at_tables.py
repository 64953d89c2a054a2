"""What one table's shift wants a hand with, from rows that were read for its strip."""

from __future__ import annotations

from collections.abc import Iterator

from planning.calc.said import stored
from planning.calc.spans import Span
from planning.reports.notes.found import Found, Moment
from planning.reports.shapes import TableToday
from planning.reports.today_data import TableData
from shopfloor.runs.arcs import to_us


def of_past(data: TableData, today: TableToday) -> Iterator[Found]:
    """What can still be done of a shift that is over."""
    yield from _unassigned(today)
    yield from _reasons(data, today)


def of_table(
    data: TableData, today: TableToday, staffed: list[Span], fitted: int | None, moment: Moment
) -> Iterator[Found]:
    """`staffed`: when somebody is at the table and it can cut; `fitted`: the set in its torch."""
    yield from _silent(data, today)
    yield from of_past(data, today)
    yield from _standing(data, today, staffed, moment)
    yield from _late(data, today)
    yield from _unplanned(data, today)
    yield from _overtime(today)
    yield from _changed_twice(data, today, fitted)


def _silent(data: TableData, today: TableToday) -> Iterator[Found]:
    since_us = data.hearing.silent_since_us
    if not data.hearing.listens:
        yield Found("no_source", today.code, table=today.code)
    elif since_us is not None and since_us < today.strip.now_us:
        values = {"feed": data.hearing.feed, "since_us": since_us}
        yield Found("silent", today.code, values, today.code, since_us)


def _unassigned(today: TableToday) -> Iterator[Found]:
    for cluster in today.unassigned:
        values = {
            "arcs": cluster.arcs,
            "from_us": cluster.from_us,
            "to_us": cluster.to_us,
            "first_key": cluster.first_key,
        }
        yield Found("arcs", cluster.first_key, values, today.code, cluster.from_us)


def _reasons(data: TableData, today: TableToday) -> Iterator[Found]:
    for stop in data.stops:
        if not stop.reasoned:
            values = {
                "stoppage": stop.pk,
                "from_us": stop.from_us,
                "to_us": None if stop.open else stop.to_us,
            }
            yield Found("stop", str(stop.pk), values, today.code, stop.from_us)


def _standing(
    data: TableData, today: TableToday, staffed: list[Span], moment: Moment
) -> Iterator[Found]:
    """Somebody is at the table, work waits, nothing burns, and no stop is on record."""
    now_us, heard = moment.now_us, data.hearing
    begun = next((start for start, end in staffed if start <= now_us < end), None)
    silent = not heard.listens or heard.silent_since_us is not None
    if begun is None or silent or any(stop.open for stop in data.stops):
        return
    if today.current is None and not data.queue:
        return
    ends = [arc.off_us for arc in data.arcs] + [stop.to_us for stop in data.stops]
    ends += [to_us(run.closed_at or run.opened_at) for run in data.runs]
    since_us = max([begun, *(end for end in ends if end <= now_us)])
    if not any(arc.open for arc in data.arcs) and now_us - since_us >= moment.ask_after_us:
        values = {"since_us": since_us, "sheets": len(data.queue)}
        yield Found("standing", f"{today.code} {since_us}", values, today.code, since_us)


def _late(data: TableData, today: TableToday) -> Iterator[Found]:
    """List entries whose plan ends after they are due: the first of each job. What is overdue is
    said by job."""
    now_us = today.strip.now_us
    at = now_us
    if today.current and today.current.rest_s:
        at += round(today.current.rest_s * 1_000_000)
    said = set[tuple[str, ...]]()
    for place, item in enumerate(data.queue):
        if item.total_s is None:
            break
        at += round(item.total_s * 1_000_000)
        if item.due_at is None or item.jobs in said or not now_us < to_us(item.due_at) < at:
            continue
        said.add(item.jobs or (item.nest,))
        values = {
            "nest": item.nest,
            "jobs": list(item.jobs),
            "ends_us": at,
            "due_us": to_us(item.due_at),
            "place": place,
        }
        yield Found("will_be_late", str(item.item_id), values, today.code)


def _unplanned(data: TableData, today: TableToday) -> Iterator[Found]:
    for item in data.queue:
        if item.total_s is None:
            values = {"nest": item.nest, "nest_id": item.nest_id, "why": stored(item.why)}
            yield Found("unplanned", str(item.item_id), values, today.code)


def _overtime(today: TableToday) -> Iterator[Found]:
    """What begins in this shift, by plan, and will more likely not be done in it."""
    ends, end_us = today.outlook.ends if today.outlook else None, today.strip.shift_end_us
    left = ends.left if ends is not None else ()
    if left and end_us is not None and today.shift:
        values = {"nest": left[0].nest, "end_us": end_us, "chance": round(left[0].chance, 3)}
        yield Found("overtime", today.code, values, today.code)


def _changed_twice(data: TableData, today: TableToday, fitted: int | None) -> Iterator[Found]:
    """The list goes back to a set that it left: the first such place."""
    left, latest, between = set[int](), fitted, ""
    for place, item in enumerate(data.queue):
        if item.wear_set_id == latest:
            continue
        if item.wear_set_id in left:
            values = {"set": item.wear_set, "nest": item.nest, "between": between, "place": place}
            yield Found("set_twice", f"{today.code} {item.wear_set_id}", values, today.code)
            return
        if latest is not None:
            left.add(latest)
        latest, between = item.wear_set_id, item.wear_set
