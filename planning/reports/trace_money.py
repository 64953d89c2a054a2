"""Money opened: a job by kind, a line, a posting, a piece."""

from __future__ import annotations

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet, Sum

from planning.calc.said import said, said_again, said_in_each
from planning.reports.shapes import Figure, OpenedRow
from planning.reports.squareness import squareness
from planning.reports.trace_rows import cut_short, evidence_of, kind_label, minutes, say_money
from shopfloor.models import Fitting, Job, JobLine, Piece, PieceUse, Posting, RunVariance
from shopfloor.site.queries import the_shop
from shopfloor.wording.counts import count, count_fractional

HEAVY = ("run__revision__program", "run__revision__notes", "run__plan")  # never read for a name
HOW = {
    "material": "sheet cost, shared by the net area of the parts",
    "credit": "what is left of the sheet, by area share × cost × the shop's factor",
    "machine": "elapsed time × machine rate of the day, shared by the contours' own arc time",
    "labour": "attended time, split between what was attended at once, × labour rate",
    "bench": "bench minutes as logged × bench rate",
    "gas": "arc time × gas rate",
    "energy": "volts × amps × arc time / efficiency × price of a kWh",
    "wear": "starts × price / rated life while the piece lives; its price by its real starts after",
    "crash": "unused worth of the pieces it took, its stop, and the parts it spoilt",
}


def opened_postings(title: str, how: str, rows: list[Posting]) -> Figure:
    money = say_money()
    total = sum(row.amount_minor for row in rows)
    each = []
    for row in rows:
        what = f", {row.run.revision.nest.name}" if row.run else ""
        what += f", piece {row.piece.label}" if row.piece else ""
        label = f"{row.shift_date:%d %b %Y}{what or ', ' + kind_label(row.kind)}"
        amount, note = money(row.amount_minor), row.why or _amount_of(row)
        opens = OpenedRow(label, amount, row.evidence, note, "posting", str(row.pk))
        each.append((opens, row.amount_minor))
    opened = cut_short(each, lambda minor: money(round(minor)))
    opened.append(OpenedRow("Total", money(total), total=True))
    shown = evidence_of((row.evidence, row.amount_minor) for row in rows)
    return Figure(title, money(total), shown, how, tuple(opened), None, {"amount_minor": total})


HOW_SQUARE = (
    "{} measured × (a {}'s plan with the set that cut it - with the cheapest fast set), wear and "
    "bench included, where nothing was asked or the upper end of fast's u meets it"
)


def _amount_of(row: Posting) -> str:
    """Its quantity in the unit a person thinks in."""
    if row.quantity is None:
        return ""
    if row.unit == "mm2":
        return said("{0:m2,.3f}", float(row.quantity))
    if row.unit == "s":
        return minutes(float(row.quantity))
    if row.unit == "start":
        return count_fractional(float(row.quantity), "start")
    return f"{row.quantity:,.1f} {row.unit}".strip()


def postings_of(**where: Any) -> list[Posting]:
    return list(
        Posting.objects.filter(**where)
        .select_related("run__revision__nest", "line__job", "piece")
        .defer(*HEAVY)
        .order_by("shift_date", "pk")
    )


def square(id: str) -> Figure:
    """What a job was cut fine for nothing in a month ("2026-10-01:JOB"), run by run."""
    day, _, job = id.partition(":")
    found = squareness(first_day=date.fromisoformat(day))
    own = [row for row in found.runs.to_dict("records") if str(row["job_id"]) == job]
    if not own:
        raise LookupError(f"job {job} has no fine cutting that nobody asked for in {day}")
    money = say_money()
    total = sum(int(row["more_minor"]) for row in own)
    rows = [
        OpenedRow(
            f"{row['day']:%d %b %Y}, {row['nest']}",
            money(int(row["more_minor"])),
            "planned",
            said(
                f"{{0:m,.1f}} cut fine, {row['hours_more'] * 60:,.0f} min more at the table",
                row["cut_m"] * 1000,
            ),
            "run",
            str(row["run_id"]),
        )
        for row in own
    ]
    how = said_in_each(HOW_SQUARE.format("metres", "metre"), HOW_SQUARE.format("feet", "foot"))
    rows.append(OpenedRow("Total", money(total), total=True))
    title = f"{own[0]['job']} cut fine, not asked for"
    return Figure(title, money(total), "planned", how, tuple(rows), None, {"amount_minor": total})


def job_kind(id: str) -> Figure:
    pk, _, kind = id.partition(":")
    found = Job.objects.filter(pk=int(pk)).first()
    if found is None:
        raise LookupError(f"there is no job {pk}")
    rows = postings_of(line__job=found, kind=kind)
    return opened_postings(f"{kind_label(kind)} of {found.number}", HOW.get(kind, ""), rows)


def job_line_kind(id: str) -> Figure:
    """One kind on one line of a job ("JOB:LINE:KIND", the line by its number)."""
    pk, number, kind = id.split(":", 2)
    line = JobLine.objects.filter(job=int(pk), number=int(number)).select_related("job").first()
    if line is None:
        raise LookupError(f"job {pk} has no line {number}")
    rows = postings_of(line=line, kind=kind)
    title = f"{kind_label(kind)} of {line.job.number} line {line.number}, {line.part}"
    return opened_postings(title, HOW.get(kind, ""), rows)


def job_line(id: str) -> Figure:
    """All that was posted on one line of a job ("JOB:LINE")."""
    pk, _, number = id.partition(":")
    line = JobLine.objects.filter(job=int(pk), number=int(number)).select_related("job").first()
    if line is None:
        raise LookupError(f"job {pk} has no line {number}")
    title = f"{line.job.number} line {line.number}, {line.part}"
    how = "everything posted for it, over all months"
    return _by_kind(title, how, Posting.objects.filter(line=line), f"job_line_kind {id}")


def job(id: str) -> Figure:
    found = Job.objects.filter(pk=int(id)).first()
    if found is None:
        raise LookupError(f"there is no job {id}")
    how = "everything posted for its lines, over all months"
    own = Posting.objects.filter(line__job=found)
    return _by_kind(f"Cost of {found.number}", how, own, f"job_kind {found.pk}")


def _by_kind(title: str, how: str, own: QuerySet[Posting], opens: str) -> Figure:
    """A total by kind; `opens` is what each row opens as, its kind to come."""
    sums = list(
        own.order_by("kind").values_list("kind", "evidence").annotate(all=Sum("amount_minor"))
    )
    money, (opened_kind, before) = say_money(), opens.split(" ")
    rows = []
    for kind in sorted({kind for kind, _, _ in sums}):
        of = [(word, minor) for each, word, minor in sums if each == kind]
        amount = money(sum(minor for _, minor in of))
        rows.append(
            OpenedRow(
                kind_label(kind), amount, evidence_of(of), HOW.get(kind, ""), opened_kind,
                f"{before}:{kind}",
            )
        )  # fmt: skip
    total = sum(minor for _, _, minor in sums)
    rows.append(OpenedRow("Total", money(total), total=True))
    shown = evidence_of((word, minor) for _, word, minor in sums)
    facts = {"amount_minor": total}
    return Figure(title, money(total), shown, how, tuple(rows), None, facts)


def posting(id: str) -> Figure:
    row = (
        Posting.objects.filter(pk=int(id))
        .select_related("run__revision__nest", "line__job", "piece", "month", "belongs_to", "by")
        .defer(*HEAVY)
        .first()
    )
    if row is None:
        raise LookupError(f"there is no posting {id}")
    rows = [
        OpenedRow("Month", f"{row.month.first_day:%B %Y}"),
        OpenedRow("Shift date", f"{row.shift_date:%d %b %Y}"),
    ]
    if row.line:
        line = f"{row.line.job.number} line {row.line.number}, {row.line.part}"
        rows.append(OpenedRow("Booked on", line, kind="job", id=str(row.line.job_id)))
    else:
        rows.append(OpenedRow("Booked on", "the shop"))
    if row.run:
        name = row.run.revision.nest.name
        rows.append(OpenedRow("Run", name, kind="run", id=str(row.run_id)))
        rows += _time_behind(row)
    if row.piece:
        rows.append(OpenedRow("Piece", row.piece.label, kind="piece", id=str(row.piece_id)))
    if row.quantity is not None:
        rows.append(OpenedRow("Quantity", _amount_of(row), row.evidence))
    if row.belongs_to:
        rows.append(OpenedRow("Belongs to", f"{row.belongs_to.first_day:%B %Y}, closed"))
    if row.cause:
        rows.append(OpenedRow("Cause", row.cause))
    if row.why:
        who = row.by.shown_name if row.by else "worked out"
        rows.append(OpenedRow("Why", row.why, note=who))
    how = HOW.get(row.kind, "")
    return Figure(
        kind_label(row.kind),
        say_money()(row.amount_minor),
        row.evidence,
        how,
        tuple(rows),
        row.made_at,
        {
            "amount_minor": row.amount_minor,
            "key": row.key,
            "job": row.line.job_id if row.line else None,
            "month": row.month.first_day,
        },
    )


def _time_behind(row: Posting) -> list[OpenedRow]:
    found = RunVariance.objects.filter(run=row.run_id).first()
    if found is None or found.elapsed_s is None or row.kind not in ("machine", "labour"):
        return []
    value = minutes(found.elapsed_s)
    return [
        OpenedRow("Elapsed time of the run", value, row.evidence, kind="run", id=str(row.run_id))
    ]


def piece(id: str) -> Figure:
    found = Piece.objects.filter(pk=int(id)).select_related("part", "outlook").first()
    if found is None:
        raise LookupError(f"there is no piece {id}")
    outlook, money = getattr(found, "outlook", None), say_money()
    rows = [
        OpenedRow("Starts when first seen", _count(found.prior_starts), "entered"),
    ]
    zone = ZoneInfo(the_shop().zone)
    for fit in Fitting.objects.filter(piece=found).select_related("torch__table"):
        state = f" {fit.removal_state} {fit.removal_reason}".rstrip()
        begun, ended = (
            at and f"{at.astimezone(zone):%d %b %H:%M}" for at in (fit.fitted_at, fit.removed_at)
        )
        span = f"{begun} to {ended or 'now, still in'}"
        rows.append(OpenedRow(f"In {fit.torch}", span, "entered", state))
    paid = dict(
        Posting.objects.filter(piece=found)
        .order_by()
        .values_list("run_id")
        .annotate(all=Sum("amount_minor"))
    )
    uses = PieceUse.objects.filter(piece=found).select_related("run__revision__nest").defer(*HEAVY)
    total = sum(paid.values())
    each, used = [], found.prior_starts or 0
    for use in uses.order_by("at"):
        used += use.starts
        minor = paid.pop(use.run_id, None)
        row = OpenedRow(
            f"{use.at.astimezone(zone):%d %b}, {use.run.revision.nest.name}",
            f"{count(use.starts, 'start')}, {minutes(use.arc_s)} of arc",
            use.evidence,
            "" if minor is not None else "charged once the run is finished",
            "run",
            str(use.run_id),
            charge=f"charged {money(minor)}" if minor is not None else "",
        )
        each.append((row, use.starts))
    rows += cut_short(each, lambda starts: count(round(starts), "start"))
    starts = outlook.starts if outlook else None
    if starts is not None and found.prior_starts is not None and starts != used:
        rows.append(OpenedRow("Burnt in no run", count(starts - used, "start"), "measured"))
    rows.append(OpenedRow("Starts in all", _count(starts), total=True))
    if other := sum(paid.values()):
        rows.append(OpenedRow("Charged outside these runs", money(other), money=True))
    charged = f"{money(total)} of {money(found.price_minor)}"
    rows.append(OpenedRow("Charged so far", charged, total=True, money=True))
    return Figure(
        f"{found.part.kind.replace('_', ' ')} {found.label}",
        "unknown" if starts is None else count(starts, "start"),
        "measured" if starts is not None else "unknown",
        said_again(outlook.basis_said, outlook.basis) if outlook else "not worked out yet",
        tuple(rows),
        outlook.computed_at if outlook else None,
        {"starts": starts, "charged_minor": total, "price_minor": found.price_minor},
    )


def _count(value: int | None) -> str:
    return "unknown" if value is None else f"{value:,}"
