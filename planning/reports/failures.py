"""Failures of all torches against what lives led to expect, as they were kept, beside the air of
the same weeks; and opened, down to the pieces."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from planning.calc.dates import DAY, dated
from planning.calc.life.air import Excess
from planning.calc.numbers import filled
from planning.calc.said import said
from planning.inputs.failures import KIND
from planning.reports.figure import Figure, Part, Ref, shortened
from shopfloor.models import AirReading, Fitting, Piece, SetPart, Summary, WearSet
from shopfloor.runs.arcs import from_us
from shopfloor.site.queries import the_shop
from shopfloor.wear.endings import cause_words
from shopfloor.wording.quantity import Quantity, Unit, text

RULE = said(
    "Failed, or taken out for its pit or orifice; pieces that went together count once, crashes "
    "not at all. Expected: for every piece that burnt, how much its chance of ending grew with the "
    "starts it took, by the lives of the pieces that ended before; nobody's name is in it."
)


@dataclass(frozen=True, slots=True)
class SetLook:
    """The last weeks of one set, or of all torches (`set_id` None). `opens`: its figure."""

    set_id: int | None
    wear_set: str
    days: int
    excess: Excess
    opens: str


@dataclass(frozen=True, slots=True)
class Week:
    """`expected` is None where too little is known. `high`, `low`: 90 in 100 of all weeks counted
    up to its end. Of the shifts whose water somebody told of, in how many it was not drained."""

    start: datetime
    end: datetime
    expected: float | None
    failed: int
    whole: tuple[float, int, int] | None
    told: int
    undrained: int
    low_kpa: float | None
    high_kpa: float | None


@dataclass(frozen=True, slots=True)
class FailuresBoard:
    """`looks`: all torches first; none while nothing is known. `failed_at`: of each failure that is
    counted. `unknown` pieces without an age and `unsaid` failures are left out."""

    computed_at: datetime
    looks: tuple[SetLook, ...]
    weeks: tuple[Week, ...]
    failed_at: tuple[datetime, ...]
    unknown: int
    unsaid: int


def failures_board() -> FailuresBoard | None:
    """None: never worked out yet. Three queries."""
    row = Summary.objects.filter(kind=KIND, key="").first()
    if row is None or row.body is None or row.computed_at is None:
        return None
    body: dict[str, Any] = row.body
    names = {one.pk: str(one) for one in WearSet.objects.all()}
    looks = [_look(one, names) for one in body["looks"] if one["excess"]["expected"] > 0]
    return FailuresBoard(
        row.computed_at,
        tuple(looks),
        tuple(_weeks(body)),
        tuple(from_us(at_us) for *_, at_us in body["ended"]),
        body["unknown"],
        body["unsaid"],
    )


def _look(kept: dict[str, Any], names: dict[int, str]) -> SetLook:
    group, weeks = kept["group"], kept["weeks"]
    opens = f"{weeks}" if group is None else f"{weeks}:{group}"
    name = "" if group is None else names.get(group, str(group))
    return SetLook(group, name, weeks * 7, Excess(**kept["excess"]), opens)


def _weeks(body: dict[str, Any]) -> Iterator[Week]:
    edges = body["edges_us"]
    air = _air(from_us(edges[0]), from_us(edges[-1]))
    for place, (start_us, end_us) in enumerate(itertools.pairwise(edges)):
        means = [weeks[place][0] for _part, _set, weeks in body["parts"]]
        known = [mean for mean in means if mean is not None]
        start, end = from_us(start_us), from_us(end_us)
        own = [one for one in air if start <= one.at < end]
        drained: dict[tuple[Any, str], bool] = {}
        for one in own:
            if one.drained is not None:
                key = one.shift_date, one.shift
                drained[key] = drained.get(key, False) or one.drained
        pressures = [one.flowing_kpa for one in own if one.flowing_kpa is not None]
        whole = body["counted_up"][place] if body["counted_up"] else None
        yield Week(
            start,
            end,
            sum(known) if known else None,
            sum(start_us <= at_us < end_us for *_, at_us in body["ended"]),
            tuple(whole) if whole else None,
            len(drained),
            sum(not done for done in drained.values()),
            min(pressures, default=None),
            max(pressures, default=None),
        )


def _air(start: datetime, end: datetime) -> list[Any]:
    day = start.date() - timedelta(days=2)  # of its index: a shift has its start's date
    rows = AirReading.objects.filter(shift_date__gte=day, at__gte=start, at__lt=end).order_by("at")
    fields = "at", "shift_date", "shift", "flowing_kpa", "drained"
    return list(rows.values_list(*fields, named=True))


def opened(key: str) -> Figure:
    """A key is a number of weeks, or that and a set: "2", "4:7"."""
    weeks, _colon, group = key.partition(":")
    row = Summary.objects.filter(kind=KIND, key="").first()
    body: dict[str, Any] = (row.body if row else None) or {}
    wanted = [int(weeks), int(group) if group else None]
    look = next(
        (one for one in body.get("looks", ()) if [one["weeks"], one["group"]] == wanted), None
    )
    if row is None or look is None:
        raise LookupError(_("there are no failures {key!r}").format(key=key))
    names = {one.pk: str(one) for one in WearSet.objects.all()}
    back, of = int(weeks), look["group"]
    since_us = body["edges_us"][-1 - back]
    ended = [one for one in body["ended"] if one[3] >= since_us and of in (None, one[2])]
    found = Excess(**look["excess"])
    parts = [
        *shortened(list(_failed(ended))),
        Part(_("Failed"), Quantity(found.seen, Unit.COUNT, "entered"), total=True),
        *_expected(body, back, of, names),
    ]
    about = filled(_("about {expected:.1f}"), expected=found.expected)
    parts.append(Part(_("Expected"), text(about), total=True))
    where = names.get(of, "") if of else _("all torches")
    label = _("failures of {where}, the last {days} days").format(where=where, days=back * 7)
    return Figure(
        Ref("failures", key), label, Quantity(found.seen, Unit.COUNT, "entered"), RULE,
        tuple(parts), row.computed_at, Ref("wear", ""),
    )  # fmt: skip


def _failed(ended: list[list[int]]) -> Iterator[Part]:
    """Each failure with its piece, when and why, the newest first."""
    zone, pieces = ZoneInfo(the_shop().zone), [one[0] for one in ended]
    labels = dict(Piece.objects.filter(pk__in=pieces).values_list("pk", "label"))
    causes = dict(
        Fitting.objects.filter(piece__in=pieces)
        .order_by("fitted_at", "pk")
        .values_list("piece_id", "removal_cause")
    )
    for piece, _part, _set, at_us in sorted(ended, key=lambda one: -one[3]):
        day = dated(from_us(at_us).astimezone(zone), DAY)
        why = cause_words(causes.get(piece, ""))
        notes = (f"{day}, {why}" if why else day,)
        yield Part(
            labels.get(piece, str(piece)), Quantity(1, Unit.COUNT), Ref("piece", str(piece)), notes
        )


def _expected(
    body: dict[str, Any], back: int, of: int | None, names: dict[int, str]
) -> Iterator[Part]:
    """What each part was expected to fail, with its life; unknown where too little ended."""
    sums: dict[int, list[float | None]] = defaultdict(list)
    for part, group, weeks in body["parts"]:
        if of in (None, group):
            sums[part] = [mean for mean, _sd in weeks[-back:]]
    for part in SetPart.objects.filter(pk__in=sums).select_related("wear_set"):
        known = [mean for mean in sums[part.pk] if mean is not None]
        quantity = text(filled("{mean:.1f}", mean=sum(known))) if known else text(_("unknown"))
        label = _("Expected of {part}, {wear_set}").format(
            part=part.name or part.kind.replace("_", " "), wear_set=names[part.wear_set_id]
        )
        yield Part(label, quantity, Ref("life", str(part.pk)))
