"""What wants a hand about entries, papers and stock rather than about a table's minutes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from planning.reports.notes.found import Found, Moment
from planning.reports.shapes import JobToday
from planning.reports.today_data import ArcNow, TableData
from shopfloor.backup.queries import backup_state, is_overdue, last_good
from shopfloor.models import Fitting, TableDown, TableTime, Torch
from shopfloor.nests.plate_needed import plates_short
from shopfloor.quality.queries import countersigns_wanted
from shopfloor.runs.amps import ARCS, amps_judged, current_mismatch, since_of
from shopfloor.runs.arcs import to_us
from shopfloor.runs.late_queries import late_entries
from shopfloor.verify.queries import last_faults
from shopfloor.wear.fitted import fitted_now
from telemetry.alarms import SILENT, standing_alarms


def of_late_entries() -> Iterator[Found]:
    """Sheets with two counts or two starts: somebody has to say which holds."""
    for entry in late_entries():
        action, run = entry.action, entry.run
        values: dict[str, Any] = {
            "entry": str(action.pk),
            "nest": run.revision.nest.name if run else None,
            "by": action.person.shown_name,
            "their": entry.their_name,
        }
        code = "started_twice" if action.kind == "start" else "counted_twice"
        if code == "counted_twice":
            values |= {
                "at_us": to_us(action.at),
                "good": sum(one.mine["good"] for one in entry.lines if one.mine),
                "their_good": sum(one.theirs["good"] for one in entry.lines if one.theirs),
            }
        table = run.table.code if run else ""
        yield Found(code, str(action.pk), values, table, to_us(action.received_at))


def of_signatures() -> Iterator[Found]:
    """First pieces of people whose checks take a second signature, and have none."""
    said = set()
    rows = countersigns_wanted().only(
        "run", "by__first_name", "by__last_name", "by__username", "run__revision__nest__name",
        "run__table__code",
    )  # fmt: skip
    for check in rows:
        if check.run_id not in said:
            said.add(check.run_id)
            values = {"by": check.by.shown_name, "nest": check.run.revision.nest.name}
            yield Found("signature", str(check.run_id), values, check.run.table.code)


def of_amps(data: Sequence[TableData], moment: Moment) -> Iterator[Found]:
    """Torches whose measured current is not that of the set on record. `data` holds every arc that
    began from `start_us` on: only where these are too few is more asked for."""
    own = {each.table.pk: each.arcs for each in data}
    fitted: dict[Torch, list[Fitting]] = defaultdict(list)
    for row in fitted_now():
        if row.torch.table.active:
            fitted[row.torch].append(row)
    for torch, inside in fitted.items():
        seen = _amps_of(own.get(torch.table_id, []), torch, inside, moment)
        off = (
            current_mismatch(torch, moment.now, inside)
            if seen is None
            else amps_judged(torch, inside, seen)
        )
        if off:
            values = {
                "arcs": off.arcs,
                "current_a": off.amps,
                "fitted": str(off.fitted),
                "like": str(off.like) if off.like else None,
                "piece_id": inside[0].piece_id,
            }
            yield Found("amps", str(torch.pk), values, torch.table.code)


def _amps_of(
    arcs: Sequence[ArcNow], torch: Torch, inside: Sequence[Fitting], moment: Moment
) -> list[float] | None:
    """Amps of the torch's last arcs; None where those at hand are too few to know."""
    since_us = max(moment.start_us, to_us(since_of(inside, moment.now)))
    seen = [
        (arc.on_us, arc.amps)
        for arc in arcs
        if arc.amps and arc.torch == torch.code and arc.amps > 0
        and since_us <= arc.on_us < moment.now_us
    ]  # fmt: skip
    if len(seen) < ARCS and since_us == moment.start_us:
        return None  # there may be older ones
    return [amps for _, amps in sorted(seen, reverse=True)[:ARCS]]


def of_alarms(now_us: int) -> Iterator[Found]:
    """What intake wants looked at, but for silent sources: a table's own note says that. Everybody
    reads it: why a source cannot be read stands on its page, for who manages sources."""
    for alarm in standing_alarms(now_us):
        if alarm.code != SILENT:
            values = {"alarm": alarm.code, "source": alarm.source, "message": alarm.public}
            key = f"{alarm.code} {alarm.source} {alarm.pk or ''}".strip()
            yield Found("alarm", key, values, "", alarm.since_us)


def of_plate() -> Iterator[Found]:
    """Plate the lists want and the stock has not."""
    for plate in plates_short():
        values = {
            "material": plate.material.code,
            "thickness": plate.thickness_text,
            "listed_sheets": plate.listed,
            "free_sheets": plate.free,
            "nests": plate.nests[:3],
        }
        yield Found("plate", f"{plate.material.pk} {plate.key}", values)


def of_verification() -> Iterator[Found]:
    """Where the last verification of the records found that something does not agree."""
    last = last_faults()
    if last is not None and last.faults:
        values = {"faults": last.faults, "at_us": to_us(last.ended_at)}
        yield Found("records", "", values, "", to_us(last.ended_at))


def of_backups(now: datetime) -> Iterator[Found]:
    """No good backup is younger than two days."""
    if is_overdue(last_good(), now):
        state = backup_state(now)
        values = {
            "days": (now - state.good.ended_at).days if state.good else None,
            "failed": state.failed.said if state.failed is not None else None,
        }
        yield Found("backup", "", values)


def of_jobs(jobs: Sequence[JobToday]) -> Iterator[Found]:
    """Open jobs that were due and still owe parts."""
    for place, job in enumerate(job for job in jobs if job.late):
        due_us = to_us(job.due_at) if job.due_at else None
        values = {
            "job": job.job,
            "customer": job.customer,
            "owes_parts": job.shortage,
            "due_us": due_us,
            "place": place,
        }
        yield Found("job_late", str(job.job_id), values, "", due_us)


def of_drift() -> Iterator[Found]:
    """What a table does otherwise than before, as its last fit found it."""
    rows = TableTime.objects.filter(table__active=True).exclude(drift=[])
    for code, told in rows.values_list("table__code", "drift"):
        for one in told:
            values = {name: one[name] for name in ("figure", "before", "now", "shifts")}
            values |= {"since_us": one["since"] * 1_000_000, "shifts_before": one["shifts_before"]}
            yield Found("drift", f"{code} {one['figure']}", values, code, one["since"] * 1_000_000)


def of_downs(now: datetime) -> Iterator[Found]:
    """Tables that cannot cut now."""
    rows = TableDown.objects.filter(started_at__lte=now, ended_at__gt=now).select_related("table")
    for row in rows.filter(table__active=True):
        values = {"until_us": to_us(row.ended_at), "planned": row.planned, "why": row.why}
        yield Found("down", str(row.pk), values, row.table.code, to_us(row.started_at))
