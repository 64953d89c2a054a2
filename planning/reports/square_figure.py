"""What a job was cut fine for nothing in a month ("2026-10-01:JOB"), run by run."""

from __future__ import annotations

from datetime import date
from typing import Any

from planning.calc.said import said, said_in_each
from planning.reports.figure import Figure, Part, Ref, whole, with_total
from planning.reports.squareness import squareness
from shopfloor.wording.quantity import money

RULE = (
    "{} measured × (a {}'s plan with the set that cut it - with the cheapest fast set), wear and "
    "bench included, where nothing was asked or the upper end of fast's u meets it"
)


def opened(key: str) -> Figure:
    day, _sep, job = key.partition(":")
    found = squareness(first_day=date.fromisoformat(day))
    own = [row for row in found.runs.to_dict("records") if str(row["job_id"]) == job]
    if not own:
        raise LookupError(f"job {job} has no fine cutting that nobody asked for in {day}")
    parts = [_part(row) for row in own]
    total = whole(parts, money(0))
    rule = said_in_each(RULE.format("metres", "metre"), RULE.format("feet", "foot"))
    label = f"{own[0]['job']} cut fine, not asked for"
    ref, page = Ref("squareness", key), Ref("cost", day[:7])
    return Figure(ref, label, total, rule, with_total(parts, total), page=page)


def _part(row: dict[Any, Any]) -> Part:
    note = said(
        f"{{0:m,.1f}} cut fine, {row['hours_more'] * 60:,.0f} min more at the table",
        row["cut_m"] * 1000,
    )
    return Part(
        f"{row['day']:%d %b %Y}, {row['nest']}",
        money(int(row["more_minor"]), "planned"),
        Ref("run", str(row["run_id"])),
        (note,),
    )
