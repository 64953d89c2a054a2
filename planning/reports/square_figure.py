"""What each job was cut fine for nothing in a month, run by run: the month page lists the figures,
each opens ("2026-10-01:JOB")."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.dates import dated
from planning.calc.said import said, said_in_each
from planning.reports.figure import Figure, Part, Ref, whole, with_total
from planning.reports.squareness import Squareness, squareness
from shopfloor.wording.quantity import money

RULE = said_in_each(
    "metres measured × (a metre's plan with the set that cut it - with the cheapest fast set), "
    "wear and bench included, where nothing was asked or the upper end of fast's u meets it",
    N_(
        "feet measured × (a foot's plan with the set that cut it - with the cheapest fast set), "
        "wear and bench included, where nothing was asked or the upper end of fast's u meets it"
    ),
)


@dataclass(frozen=True, slots=True)
class JobSquare:
    """One job's fine cutting that nobody asked for. `asked` are the u ranges of its lines, None
    where nothing is asked; its cost is the figure."""

    figure: Figure
    job: str
    title: str
    asked: frozenset[int | None]
    cut_m: float
    hours: float


def by_job(found: Squareness, first_day: date) -> list[JobSquare]:
    """The jobs of a month, the dearest first."""
    groups: dict[int | None, list[dict[str, Any]]] = {}
    for values in found.runs.to_dict("records"):
        row = {str(name): None if pd.isna(each) else each for name, each in values.items()}
        groups.setdefault(row["job_id"], []).append(row)
    jobs = [
        JobSquare(
            _figure(f"{first_day}:{job_id}", own),
            own[0]["job"],
            own[0]["title"],
            frozenset(row["asked"] for row in own),
            sum(row["cut_m"] for row in own),
            sum(row["hours_more"] for row in own),
        )
        for job_id, own in groups.items()
    ]
    return sorted(jobs, key=lambda one: -one.figure.quantity.number)


def opened(key: str) -> Figure:
    day, _sep, job = key.partition(":")
    first_day = date.fromisoformat(day)
    for one in by_job(squareness(first_day=first_day), first_day):
        if one.figure.ref.key == key:
            return one.figure
    raise LookupError(
        _("job {job} has no fine cutting that nobody asked for in {day}").format(job=job, day=day)
    )


def _figure(key: str, own: list[dict[str, Any]]) -> Figure:
    parts = [_part(row) for row in own]
    total = whole(parts, money(0))
    label = _("{job} cut fine, not asked for").format(job=own[0]["job"])
    ref, page = Ref("squareness", key), Ref("cost", key[:7])
    return Figure(ref, label, total, RULE, with_total(parts, total), page=page)


def _part(row: dict[str, Any]) -> Part:
    note = said(
        "{0:m,.1f} cut fine, {hours_more:,.0f} min more at the table",
        row["cut_m"] * 1000,
        hours_more=row["hours_more"] * 60,
    )
    return Part(
        f"{dated(row['day'])}, {row['nest']}",
        money(int(row["more_minor"]), "planned"),
        Ref("run", str(row["run_id"])),
        (note,),
    )
