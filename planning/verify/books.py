"""Postings against what they are made from, and closed months against what was printed."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime

from django.db.models import F, Q, Sum

from planning.calc.dates import MONTH, dated
from planning.inputs.chunks import in_chunks
from planning.reports.printed import postings_print
from planning.services.outlooks import ENDED
from planning.services.run_figures import wanted_amounts
from shopfloor.models import Month, Piece, PieceUse, Posting, Run, RunState, Work
from telemetry.said import noop as N_
from telemetry.said import said, said_of_many
from telemetry.verify.findings import SHOWN, Finding, listed

_AT_ONCE = 200
CHANGED = N_(
    "{month} is closed, and its postings are not what they were then: {was} rows of {total} in "
    "all, now {rows} rows of {total_now}."
)
CHANGED_SINCE = N_(
    "{month} is closed, and its postings are not what they were then: an unknown number of rows "
    "of {total} in all, now {rows} rows of {total_now}."
)


def check_reversals() -> Iterator[Finding]:
    """A row that reverses takes back exactly one other: the same amount of the same thing."""
    rows = Posting.objects.exclude(reverses=None)
    same = Q(amount_minor=-F("reverses__amount_minor"))
    for name in ("kind", "line", "run", "piece"):
        same &= Q(**{name: F(f"reverses__{name}")}) | Q(**{name: None, f"reverses__{name}": None})
    odd = rows.exclude(same)
    number = odd.count()
    if number:
        examples = [
            said("posting {number} ({kind})", number=row.pk, kind=row.kind) for row in odd[:SHOWN]
        ]
        yield Finding(
            "reversal wrong",
            "postings",
            said_of_many(
                "{number} reversal is not of what it names: {examples}.",
                "{number} reversals are not of what they name: {examples}.",
                number,
                examples=listed(examples, number),
            ),
        )


def check_runs_books(*, now: datetime) -> Iterator[Finding]:
    """What stands in the books for each run is what its figures give now. Runs with figures still
    to be worked out are passed over."""
    waiting = set(
        Work.objects.filter(kind="run", state__in=("waiting", "running")).values_list(
            "key", flat=True
        )
    )
    ids = [pk for pk in Run.objects.order_by("opened_at").values_list("pk", flat=True)
           if str(pk) not in waiting]  # fmt: skip
    odd: list[str] = []
    for at in range(0, len(ids), _AT_ONCE):
        odd += _odd_runs(ids[at : at + _AT_ONCE], now)
    if odd:
        yield Finding(
            "books differ",
            "postings",
            said_of_many(
                "The books of {number} run are not what times, sheets and rates give: {examples}.",
                "The books of {number} runs are not what times, sheets and rates give: {examples}.",
                len(odd),
                examples=listed(odd, len(odd)),
            ),
        )


def _odd_runs(ids: Sequence[uuid.UUID], now: datetime) -> list[str]:
    wanted = wanted_amounts(Run.objects.filter(pk__in=ids), now=now)
    posted: dict[str, int] = defaultdict(int)
    for some in in_chunks(ids):
        rows = Posting.objects.filter(run__in=some, piece=None)
        for key, minor in rows.values_list("key", "amount_minor"):
            posted[key.rpartition(":v")[0]] += minor
    keys = {key for key in wanted.keys() | posted.keys() if wanted.get(key, 0) != posted[key]}
    by_run: dict[str, list[str]] = defaultdict(list)
    for key in sorted(keys):
        _, run, kind, *_ = key.split(":")
        wants = wanted.get(key, 0)
        by_run[run].append(
            said("{kind} {posted} for {wanted}", kind=kind, posted=posted[key], wanted=wants)
        )
    return [
        said("run {run}: {kinds}", run=run[:8], kinds=each[:SHOWN]) for run, each in by_run.items()
    ]


def check_wear() -> Iterator[Finding]:
    """A piece that has ended was charged what was paid for it, once all its runs are finished."""
    open_uses = PieceUse.objects.exclude(run__state=RunState.FINISHED).values("piece")
    waiting = Work.objects.filter(kind="piece", state__in=("waiting", "running"))
    late = {int(key) for key in waiting.values_list("key", flat=True)}
    rows = (
        Piece.objects.filter(state__in=ENDED)
        .exclude(pk__in=open_uses)
        .annotate(charged=Sum("postings__amount_minor"))
        .order_by("pk")
    )
    odd = [
        said(
            "{piece}: charged {charged}, paid {paid}",
            piece=piece.label,
            charged=piece.charged or 0,
            paid=piece.price_minor,
        )
        for piece in rows.iterator(_AT_ONCE * 5)
        if (piece.charged or 0) != piece.price_minor and piece.pk not in late
    ]
    if odd:
        yield Finding(
            "wear differs",
            "wear",
            said_of_many(
                "{number} wear part is not charged at its price, though it has ended: {examples}.",
                "{number} wear parts are not charged at their price, though they have ended: "
                "{examples}.",
                len(odd),
                examples=listed(odd, len(odd)),
            ),
        )


def check_months() -> Iterator[Finding]:
    """A closed month's postings are those it was closed with."""
    for month in Month.objects.exclude(closed_at=None):
        name = dated(month.first_day, MONTH)
        printed = month.printed or {}
        now = postings_print(month)
        if "postings" in printed:
            changed = printed["postings"] != now
        else:  # closed before the print of its postings was kept
            changed = printed.get("total_minor") != now["total_minor"]
        if changed:
            words = said(
                CHANGED if "postings" in printed else CHANGED_SINCE,
                month=name,
                was=printed.get("postings", {}).get("rows", 0),
                total=printed.get("total_minor"),
                rows=now["rows"],
                total_now=now["total_minor"],
            )
            yield Finding("closed month changed", name, words)
        if Month.objects.filter(first_day__lt=month.first_day, closed_at=None).exists():
            words = said("{month} is closed before an earlier one.", month=name)
            yield Finding("closed month changed", name, words)
