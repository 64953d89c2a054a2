"""Money opened: a month's kind, a job, a posting, a piece."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any

from django.db.models import Sum

from planning.reports.frames import coverage_of, currency
from planning.reports.shapes import Coverage, Figure, OpenedRow
from planning.reports.squareness import squareness
from shopfloor.models import Fitting, Job, Month, Piece, PieceUse, Posting, PostingKind, RunVariance

MOST = 200
HEAVY = ("run__revision__program", "run__revision__notes", "run__plan")  # never read for a name
WORDS = ("measured", "entered", "planned", "unknown")
HOW = {
    "material": "sheet cost, shared by the net area of the parts",
    "credit": "what is left of the sheet, by area share x cost x the shop's factor",
    "machine": "elapsed time x machine rate of the day, shared by the contours' own arc time",
    "labour": "attended time, split between what was attended at once, x labour rate",
    "bench": "bench minutes as logged x bench rate",
    "gas": "arc time x gas rate",
    "energy": "volts x amps x arc time / efficiency x price of a kWh",
    "wear": "starts x price / rated life while the piece lives; its price by its real starts after",
    "crash": "unused worth of the pieces it took, its stop, and the parts it spoilt",
}


Say = Callable[[int | None], str]


def say_money() -> Say:
    """How amounts are said in the shop's currency. One query, for any number of amounts."""
    of = currency()
    digits = of["currency_digits"]

    def say(minor: int | None) -> str:
        if minor is None:
            return "unknown"
        sign = "-" if minor < 0 else ""
        whole, rest = divmod(abs(minor), 10**digits)
        cents = f".{rest:0{digits}d}" if digits else ""
        return f"{sign}{whole:,}{cents} {of['currency']}"

    return say


def _label(kind: str) -> str:
    return PostingKind(kind).label if kind in PostingKind.values else kind


def _evidence(pairs: Iterable[tuple[str, float]]) -> str:
    """The evidence that carries most of a total; its shares where it is mixed."""
    found: Coverage = coverage_of(pairs, "")
    words = {
        word: found.share(word) or 0.0 for word in ("measured", "entered", "planned", "unknown")
    }
    present = [f"{word} {share:.0%}" for word, share in words.items() if share >= 0.005]
    if len(present) == 1:
        return present[0].split()[0]
    return ", ".join(present) or "unknown"


def _figure(title: str, how: str, rows: list[Posting]) -> Figure:
    money = say_money()
    total = sum(row.amount_minor for row in rows)
    opened = [
        OpenedRow(
            f"{row.shift_date:%d %b %Y} {_label(row.kind)}"
            + (f", {row.run.revision.nest.name}" if row.run else ""),
            money(row.amount_minor),
            row.evidence,
            row.why or _amount_of(row),
            "posting",
            str(row.pk),
        )
        for row in rows[:MOST]
    ]
    if len(rows) > MOST:
        rest = sum(row.amount_minor for row in rows[MOST:])
        opened.append(OpenedRow(f"{len(rows) - MOST} more", money(rest)))
    opened.append(OpenedRow("Total", money(total), total=True))
    shown = _evidence((row.evidence, row.amount_minor) for row in rows)
    return Figure(title, money(total), shown, how, tuple(opened), None, {"amount_minor": total})


def _amount_of(row: Posting) -> str:
    return "" if row.quantity is None else f"{row.quantity:,.1f} {row.unit}".strip()


def _postings(**where: Any) -> list[Posting]:
    return list(
        Posting.objects.filter(**where)
        .select_related("run__revision__nest", "line__job")
        .defer(*HEAVY)
        .order_by("shift_date", "pk")
    )


def month_kind(id: str) -> Figure:
    day, _, kind = id.partition(":")
    month = Month.objects.filter(first_day=date.fromisoformat(day)).first()
    if month is None:
        raise LookupError(f"nothing was posted in {day}")
    rows = _postings(month=month, kind=kind)
    return _figure(f"{_label(kind)} in {month.first_day:%B %Y}", HOW.get(kind, ""), rows)


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
            f"{row['cut_m']:,.1f} m cut fine, {row['hours_more'] * 60:,.0f} min more at the table",
            "run",
            str(row["run_id"]),
        )
        for row in own
    ]
    how = (
        "metres measured x (a metre's plan with the set that cut it - with the cheapest fast set), "
        "wear and bench included, where nothing was asked or the upper end of fast's u meets it"
    )
    rows.append(OpenedRow("Total", money(total), total=True))
    title = f"{own[0]['job']} cut fine, not asked for"
    return Figure(title, money(total), "planned", how, tuple(rows), None, {"amount_minor": total})


def job_kind(id: str) -> Figure:
    pk, _, kind = id.partition(":")
    found = Job.objects.filter(pk=int(pk)).first()
    if found is None:
        raise LookupError(f"there is no job {pk}")
    rows = _postings(line__job=found, kind=kind)
    return _figure(f"{_label(kind)} of {found.number}", HOW.get(kind, ""), rows)


def job(id: str) -> Figure:
    found = Job.objects.filter(pk=int(id)).first()
    if found is None:
        raise LookupError(f"there is no job {id}")
    sums = list(
        Posting.objects.filter(line__job=found)
        .order_by("kind")
        .values_list("kind", "evidence")
        .annotate(all=Sum("amount_minor"))
    )
    money = say_money()
    kinds = sorted({kind for kind, _, _ in sums})
    rows = []
    for kind in kinds:
        own = [(word, minor) for each, word, minor in sums if each == kind]
        total = sum(minor for _, minor in own)
        rows.append(
            OpenedRow(
                _label(kind), money(total), _evidence(own), HOW.get(kind, ""), "job_kind",
                f"{found.pk}:{kind}",
            )
        )  # fmt: skip
    total = sum(minor for _, _, minor in sums)
    rows.append(OpenedRow("Total", money(total), total=True))
    return Figure(
        f"Cost of {found.number}",
        money(total),
        _evidence((word, minor) for _, word, minor in sums),
        "everything posted for its lines, over all months",
        tuple(rows),
        None,
        {"amount_minor": total},
    )


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
        OpenedRow("Shift date", f"{row.shift_date}"),
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
        _label(row.kind),
        say_money()(row.amount_minor),
        row.evidence,
        how,
        tuple(rows),
        row.made_at,
        {"amount_minor": row.amount_minor, "key": row.key},
    )


def _time_behind(row: Posting) -> list[OpenedRow]:
    found = RunVariance.objects.filter(run=row.run_id).first()
    if found is None or found.elapsed_s is None or row.kind not in ("machine", "labour"):
        return []
    value = f"{found.elapsed_s / 60:,.1f} min"
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
    for fit in Fitting.objects.filter(piece=found).select_related("torch__table"):
        until = f"{fit.removed_at:%Y-%m-%d %H:%M}Z" if fit.removed_at else "still in"
        state = f" {fit.removal_state} {fit.removal_reason}".rstrip()
        rows.append(
            OpenedRow(
                str(fit.torch), f"{fit.fitted_at:%Y-%m-%d %H:%M}Z to {until}", "entered", state
            )
        )
    paid = dict(
        Posting.objects.filter(piece=found)
        .order_by()
        .values_list("run_id")
        .annotate(all=Sum("amount_minor"))
    )
    uses = PieceUse.objects.filter(piece=found).select_related("run__revision__nest").defer(*HEAVY)
    for use in uses.order_by("at")[:MOST]:
        minor = paid.get(use.run_id, 0)
        rows.append(
            OpenedRow(
                use.run.revision.nest.name,
                f"{use.starts} starts, {use.arc_s / 60:,.1f} min of arc",
                use.evidence,
                f"paid {money(minor)}",
                "run",
                str(use.run_id),
            )
        )
    total = sum(paid.values())
    rows.append(
        OpenedRow("Charged so far", f"{money(total)} of {money(found.price_minor)}", total=True)
    )
    starts = outlook.starts if outlook else None
    return Figure(
        f"{found.part.kind.replace('_', ' ')} {found.label}",
        f"{_count(starts)} starts",
        "measured" if starts is not None else "unknown",
        outlook.basis if outlook else "not worked out yet",
        tuple(rows),
        outlook.computed_at if outlook else None,
        {"starts": starts, "charged_minor": total, "price_minor": found.price_minor},
    )


def _count(value: int | None) -> str:
    return "unknown" if value is None else f"{value:,}"
