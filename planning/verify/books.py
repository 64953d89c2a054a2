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
from shopfloor.wording.counts import count
from telemetry.verify.findings import SHOWN, Finding, listed

_AT_ONCE = 200


def check_reversals() -> Iterator[Finding]:
    """A row that reverses takes back exactly one other: the same amount of the same thing."""
    rows = Posting.objects.exclude(reverses=None)
    same = Q(amount_minor=-F("reverses__amount_minor"))
    for name in ("kind", "line", "run", "piece"):
        same &= Q(**{name: F(f"reverses__{name}")}) | Q(**{name: None, f"reverses__{name}": None})
    odd = rows.exclude(same)
    number = odd.count()
    if number:
        examples = [f"posting {row.pk} ({row.kind})" for row in odd[:SHOWN]]
        yield Finding(
            "reversal wrong",
            "postings",
            f"{count(number, '{n} reversal', '{n} reversals')} not of what it "
            f"names: {listed(examples, number)}.",
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
            f"The books of {count(len(odd), '{n} run', '{n} runs')} are not what "
            f"times, sheets and rates give: "
            f"{listed(odd, len(odd))}.",
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
        by_run[run].append(f"{kind} {posted[key]} for {wanted.get(key, 0)}")
    return [f"run {run[:8]}: {', '.join(each[:SHOWN])}" for run, each in by_run.items()]


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
        f"{piece.label}: charged {piece.charged or 0}, paid {piece.price_minor}"
        for piece in rows.iterator(_AT_ONCE * 5)
        if (piece.charged or 0) != piece.price_minor and piece.pk not in late
    ]
    if odd:
        yield Finding(
            "wear differs",
            "wear parts",
            f"Not charged at their price, though they have ended: "
            f"{count(len(odd), '{n} wear part', '{n} wear parts')}: "
            f"{listed(odd, len(odd))}.",
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
            was = printed.get("postings", {}).get("rows", "an unknown number of")
            yield Finding(
                "closed month changed", name,
                f"{name} is closed, and its postings are not what they were then: "
                f"{was} rows of {printed.get('total_minor')} in all, now {now['rows']} rows of "
                f"{now['total_minor']}.",
            )  # fmt: skip
        if Month.objects.filter(first_day__lt=month.first_day, closed_at=None).exists():
            yield Finding("closed month changed", name, f"{name} is closed before an earlier one.")
