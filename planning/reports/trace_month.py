"""A month opened: by kind, by job, by the terms of its difference, by plate; down to runs and
postings."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Sum

from planning.calc.said import Said, around, plain, said, said_in_each
from planning.inputs.chunks import among, chunked
from planning.reports.cost_parts import FEET_A_METRE
from planning.reports.month_runs import MonthRun, month_run_ids, month_runs
from planning.reports.month_sums import MATERIAL
from planning.reports.run_shares import run_shares
from planning.reports.shapes import Figure, OpenedRow
from planning.reports.trace_money import HOW, opened_postings, postings_of
from planning.reports.trace_rows import (
    SHOP,
    cut_short,
    evidence_of,
    kind_label,
    minutes,
    say_money,
    signed,
)
from planning.services.postings import next_month
from shopfloor.chart.duties import duty_word
from shopfloor.models import Job, Month, Posting, Run, RunVariance
from shopfloor.site.queries import the_shop

HOW_PLATE = (
    "elapsed time of the runs; a {}'s cost is all that was posted for them but the material, "
    "over what they cut{}"
)
AS_PRINTED = "; worked out now, while the page shows the month as it was closed"


def _month(day: str) -> Month:
    month = Month.objects.filter(first_day=date.fromisoformat(day)).defer("printed").first()
    if month is None:
        raise LookupError(f"nothing was posted in {day}")
    return month


def _owner(job: str) -> tuple[int | None, str]:
    """The job of a key and what it is called."""
    if job == SHOP:
        return None, "the shop"
    found = Job.objects.filter(pk=int(job)).first()
    if found is None:
        raise LookupError(f"there is no job {job}")
    return found.pk, found.number


def _summed(
    title: str,
    how: str,
    where: Mapping[str, Any],
    field: str,
    row: Callable[[Any], tuple[str, str, str, str]],
) -> Figure:
    """A total of postings by one of their fields; `row` gives label, note, kind and id of each."""
    sums: dict[Any, list[tuple[str, int]]] = defaultdict(list)
    found = Posting.objects.filter(**where).order_by().values_list(field, "evidence")
    for value, word, minor in found.annotate(all=Sum("amount_minor")):
        sums[value].append((word, minor))
    money = say_money()
    rows = []
    for value, own in sorted(sums.items(), key=lambda item: -sum(minor for _, minor in item[1])):
        label, note, kind, id = row(value)
        amount = money(sum(minor for _, minor in own))
        rows.append(OpenedRow(label, amount, evidence_of(own), note, kind, id))
    pairs = [pair for own in sums.values() for pair in own]
    total = sum(minor for _, minor in pairs)
    rows.append(OpenedRow("Total", money(total), total=True))
    facts = {"amount_minor": total}
    return Figure(title, money(total), evidence_of(pairs), how, tuple(rows), None, facts)


def whole(id: str) -> Figure:
    """A month's total by kind."""
    month = _month(id)
    return _summed(
        f"{month.first_day:%B %Y}", "everything posted into it", {"month": month}, "kind",
        lambda kind: (kind_label(kind), HOW.get(kind, ""), "month_kind", f"{id}:{kind}"),
    )  # fmt: skip


def kind(id: str) -> Figure:
    """A kind of a month by job."""
    day, _, code = id.partition(":")
    month = _month(day)
    owners = Posting.objects.filter(month=month, kind=code).values("line__job")
    titles = {job.pk: job for job in Job.objects.filter(pk__in=owners)}

    def row(job: int | None) -> tuple[str, str, str, str]:
        named = titles.get(job) if job else None
        label = f"{named.number}, {named.title}" if named else "the shop"
        return label, "", "month_job_kind", f"{day}:{job or SHOP}:{code}"

    where = {"month": month, "kind": code}
    title = f"{kind_label(code)} in {month.first_day:%B %Y}"
    return _summed(title, HOW.get(code, ""), where, "line__job_id", row)


def job(id: str) -> Figure:
    """What one job (0: the shop) was charged in a month, by kind."""
    day, _, key = id.partition(":")
    month, (pk, name) = _month(day), _owner(key)
    return _summed(
        f"{name} in {month.first_day:%B %Y}",
        "what was posted for it in this month; the job's own page has all months",
        {"month": month, "line__job": pk},
        "kind",
        lambda code: (
            kind_label(code), HOW.get(code, ""), "month_job_kind", f"{day}:{key}:{code}",
        ),
    )  # fmt: skip


def job_kind(id: str) -> Figure:
    """One kind of one job in a month, posting by posting."""
    day, key, code = id.split(":", 2)
    month, (pk, name) = _month(day), _owner(key)
    rows = postings_of(month=month, line__job=pk, kind=code)
    title = f"{kind_label(code)} of {name} in {month.first_day:%B %Y}"
    return opened_postings(title, HOW.get(code, ""), rows)


def _runs_of(month: Month) -> list[uuid.UUID]:
    """Their ids come first: of a month named by a query PostgreSQL expects a thirtieth of its runs,
    and reads all there ever were instead of looking those up."""
    return list(month_run_ids(month.first_day, next_month(month.first_day)))


class TermRun(NamedTuple):
    """A run that has seconds of a term, as `MonthRun` has them."""

    run_id: uuid.UUID
    minor_per_hour: int | None
    evidence: str
    over_s: float


def _with_term(month: Month, code: str) -> list[TermRun]:
    """The month's runs that have a term, in the order of their ids."""
    rows = among(
        _runs_of(month),
        lambda some: RunVariance.objects.filter(run__in=some, terms__has_key=code).values_list(
            "run_id", "minor_per_hour", "run__evidence", "terms"
        ),
    )
    return sorted(TermRun(pk, rate, evidence, terms[code]) for pk, rate, evidence, terms in rows)


def run_names(runs: Iterable[uuid.UUID]) -> dict[uuid.UUID, tuple[datetime, str]]:
    """When each run began and what it is called."""
    rows = chunked(
        sorted(runs),
        lambda some: Run.objects.filter(pk__in=some).values_list(
            "pk", "opened_at", "revision__nest__name", "table__name"
        ),
    )
    zone = ZoneInfo(the_shop().zone)
    return {
        pk: (at, f"{at.astimezone(zone):%d %b %H:%M}, {nest} on {table}")
        for pk, at, nest, table in rows
    }


def term_rows(
    parts: Sequence[tuple[MonthRun | TermRun, float, float]], term: str
) -> tuple[list[OpenedRow], float, int | None]:
    """Of (run, share, seconds more): a row a run, the seconds, and their cost, None where a run
    has no rate."""
    names, money = run_names(run.run_id for run, _, _ in parts), say_money()
    total_s = sum(over_s for _, _, over_s in parts)
    priced = [run.minor_per_hour is not None for run, _, _ in parts]
    rows, cost = [], 0.0
    for run, share, over_s in sorted(parts, key=lambda part: names[part[0].run_id]):
        note = f"{share * 100:.0f} % of the run" if share < 0.9995 else ""
        if run.minor_per_hour is not None:
            minor = over_s * run.minor_per_hour / 3600
            cost += minor
            said = signed(money(round(minor)))
            note = f"{said}, {note}" if note else said
        label = names[run.run_id][1]
        value = signed(minutes(over_s).replace("-", "−"))
        row = OpenedRow(label, value, run.evidence, note, "run_term", f"{run.run_id}:{term}")
        rows.append((row, over_s))
    shown = cut_short(rows, lambda seconds: signed(minutes(seconds).replace("-", "−")))
    minor_or_none = round(cost) if all(priced) else None
    end = OpenedRow(
        "Total", signed(minutes(total_s).replace("-", "−")),
        note=signed(money(minor_or_none)), total=True,
    )  # fmt: skip
    return [*shown, end], total_s, minor_or_none


def term(id: str) -> Figure:
    """A term of a month's difference, run by run; of one job where the key names it."""
    day, code, *of = id.split(":")
    month = _month(day)
    pk, name = _owner(of[0]) if of else (None, "")
    runs = _with_term(month, code)
    shares = run_shares(run.run_id for run in runs) if of else {}
    parts = []
    for run in runs:
        share = shares[run.run_id].get(pk, 0.0) if of else 1.0
        if share:
            parts.append((run, share, run.over_s * share))
    if not parts:
        raise LookupError(f"no run of {day} has {code!r} in it")
    rows, total_s, minor = term_rows(parts, code)
    how = "time beyond the plan, run by run, at the machine and labour rate of each"
    how += AS_PRINTED if month.closed_at else ""
    title = f"{code} beyond plan in {month.first_day:%B %Y}" + (f", {name}" if name else "")
    value = signed(minutes(total_s).replace("-", "−"))
    evidence = evidence_of((run.evidence, abs(over_s)) for run, _, over_s in parts)
    return Figure(
        title, value, evidence, how, tuple(rows), None, {"over_s": total_s, "amount_minor": minor}
    )


def plate(id: str) -> Figure:
    """Hours, metres and cost of a material, thickness and duty in a month, run by run."""
    day, rest = id.split(":", 1)
    material, thick, duty = rest.rsplit(":", 2)
    month = _month(day)
    alike = month_runs(
        _runs_of(month), costs=False, revision__nest__material__code=material,
        revision__nest__thickness_mm=float(thick),
    )  # fmt: skip
    own = {pk: run for pk, run in alike.items() if run.duty == duty}
    if not own:
        raise LookupError(f"no run of {day} was of {rest}")
    spent = Posting.objects.filter(month=month).exclude(kind__in=MATERIAL).order_by()
    posted: dict[uuid.UUID, int] = dict(
        chunked(
            sorted(own),
            lambda some: spent.filter(run__in=some).values_list("run_id").annotate(
                all=Sum("amount_minor")
            ),
        )
    )  # fmt: skip
    names, money = run_names(own), say_money()

    def note(cut_mm: float, minor: int | None, a_metre: str = "", a_foot: str = "") -> Said:
        rest = f"{{0:m,.1f}} cut, {plain(money(minor))} without material"
        return said_in_each(rest + plain(a_metre), rest + plain(a_foot), cut_mm)

    rows = []
    for pk, run in sorted(own.items(), key=lambda item: names[item[0]]):
        cut = note(run.cut_mm, posted.get(pk))
        row = OpenedRow(names[pk][1], minutes(run.elapsed_s), run.evidence, cut, "run", str(pk))
        rows.append((row, run.elapsed_s))
    hours = sum(run.elapsed_s for run in own.values()) / 3600
    cut_m = sum(run.cut_mm for pk, run in own.items() if pk in posted) / 1000
    total = sum(posted.values())
    shown = cut_short(rows, minutes)
    each = ("", "")
    if cut_m:
        a_metre, a_foot = total / cut_m, total / (cut_m * FEET_A_METRE)
        each = (f": {money(round(a_metre))} a metre", f": {money(round(a_foot))} a foot")
    end = note(cut_m * 1000, total, *each)
    shown.append(OpenedRow("Total", f"{hours:,.1f} h", note=end, total=True))
    evidence = evidence_of((run.evidence, run.elapsed_s) for run in own.values())
    printed = AS_PRINTED if month.closed_at else ""
    how = said_in_each(HOW_PLATE.format("metre", printed), HOW_PLATE.format("foot", printed))
    title = around(
        f"{material} ",
        said("{0}", float(thick)),
        f", {duty_word(duty)}, in {month.first_day:%B %Y}",
    )
    facts = {"hours": hours, "cut_m": cut_m, "amount_minor": total}
    return Figure(title, f"{hours:,.1f} h", evidence, how, tuple(shown), None, facts)
