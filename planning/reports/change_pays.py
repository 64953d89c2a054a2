"""When a change of the pieces in use pays, as it was worked out last; and what a failure costs,
opened down to the failures it was taken from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from planning.calc.dates import DAY, dated
from planning.calc.life.costs import Happened
from planning.calc.said import said
from planning.inputs.lives import KIND
from planning.reports.figure import Figure, Part, Ref, shortened
from planning.reports.survival import Learned
from shopfloor.models import Fitting, PieceKind, SetPart, Summary
from shopfloor.runs.arcs import from_us
from shopfloor.site.queries import the_shop
from shopfloor.wording.quantity import Remark, money, seconds

RULE = said(
    "mean over the failures that are known whole of: the piece's price, the unused worth of pieces "
    "changed with it, parts it spoilt at what they had cost, and the staffed time from the last "
    "arc to the next × machine and labour rate; crashes are no failures"
)


@dataclass(frozen=True, slots=True)
class Score:
    """What following the advice would have saved, minor units; below 0: it would have cost."""

    pieces: int
    sooner: int
    saved: int
    low: int
    high: int
    since: datetime

    @property
    def cost(self) -> int:
        """What it would have cost more."""
        return -self.saved


@dataclass(frozen=True, slots=True)
class PairPays:
    """A month as a pair less a month apart, minor units. `age`: change both at."""

    dearer: int
    low: int
    high: int
    sure: bool
    age: int | None

    @property
    def apart_saves(self) -> int:
        """What changing each by itself saves a month; below 0: the pair is cheaper."""
        return self.dearer


@dataclass(frozen=True, slots=True)
class ChangePays:
    """Of one part. `verdict`: pays, unproven (by lives and costs it pays, but followed through the
    shop's own past it may have cost), untried (too few pieces came out since, or none later than it
    says), unsure, never, thin, or which cost is lacking ("failure", "change", "price"). Money in
    minor units, `month*` a month's; None: not known."""

    part_id: int
    kind: str
    verdict: str
    ends: int
    age: int | None = None
    low: int | None = None
    high: int | None = None
    chance: float = 0.0
    month: int | None = None
    month_low: int | None = None
    month_high: int | None = None
    failure: int | None = None
    failures: int = 0
    source: str = ""
    ahead: int | None = None
    score: Score | None = None
    pair: PairPays | None = None


def change_pays(learned: Mapping[int, Learned]) -> dict[int, ChangePays]:
    """By piece, of those whose part has something worked out."""
    return {
        pk: _pays(one.part, one.kind, pays, one.body.get("ends") or 0)
        for pk, one in learned.items()
        if (pays := one.body.get("pays"))
    }


def _pays(part: int, kind: str, body: dict[str, Any], ends: int) -> ChangePays:
    if "costs" not in body:
        return ChangePays(part, kind, body["lacking"], ends)
    costs, month = body["costs"], body["starts_month"]
    failure, planned, price = costs["failure"], costs["planned"], costs["price"]
    advice = body.get("advice") or {"verdict": "thin"}
    age, score = advice.get("age"), _score(body.get("score"))
    verdict = borne_out(advice["verdict"], score)
    saved = {
        name: None if month is None or age is None else round(advice[of] * month)
        for name, of in (("month", "saved"), ("month_low", "saved_low"),
                         ("month_high", "saved_high"))
    }  # fmt: skip
    return ChangePays(
        part, kind, verdict, ends,
        age=_whole(age),
        low=_whole(advice.get("low")),
        high=_whole(advice.get("high")),
        chance=advice.get("chance", 0.0),
        failure=round(price + _total(failure)),
        failures=failure["n"],
        source=failure["source"],
        ahead=round(price + _total(planned)),
        score=score,
        pair=_pair(body.get("pair"), month, advised=verdict == "pays"),
        **saved,
    )  # fmt: skip


def borne_out(verdict: str, score: Score | None) -> str:
    """What lives and costs say, as far as the shop's own past bears it out. They take every end for
    a failure and each part for one by itself; where pieces also go with their partner, or at a
    look, less is left to save, and only the past knows how much."""
    if verdict != "pays":
        return verdict
    if score is None or not score.sooner:
        return "untried"
    return verdict if score.low > 0 else "unproven"


def _total(extra: dict[str, Any]) -> float:
    return float(extra["partners"] + extra["cut"] + extra["lost"])


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)


def _score(kept: dict[str, Any] | None) -> Score | None:
    if kept is None:
        return None
    saved, low, high = (round(kept[name]) for name in ("saved", "low", "high"))
    return Score(kept["n"], kept["sooner"], saved, low, high, from_us(kept["from_us"]))


def _pair(kept: dict[str, Any] | None, month: float | None, *, advised: bool) -> PairPays | None:
    """`advised`: whether a change ahead is advised at all; else no age of the pair is either."""
    if kept is None or month is None:
        return None
    dearer = (kept["together"] - kept["apart"], kept["dearer_low"], kept["dearer_high"])
    middle, low, high = (round(one * month) for one in dearer)
    return PairPays(middle, low, high, kept["sure"], _whole(kept["age"]) if advised else None)


def opened(key: str) -> Figure:
    """What a failure of a part costs. A key is the part's id."""
    part = SetPart.objects.filter(pk=int(key)).select_related("wear_set").first()
    row = Summary.objects.filter(kind=KIND, key=key).first()
    if part is None:
        raise LookupError(_("there is no part {key!r}").format(key=key))
    body: dict[str, Any] = ((row.body or {}) if row else {}).get("pays") or {}
    costs = body.get("costs")
    parts = [] if costs is None else _terms(costs)
    happened = [Happened(**one) for one in reversed(body.get("failures", ()))]
    parts += shortened(_incidents(happened))
    return Figure(
        Ref("failure_cost", key),
        _("cost of a failure of the {kind} of {wear_set}").format(
            kind=PieceKind(part.kind).label, wear_set=part.wear_set
        ),
        money(None if costs is None else costs["price"] + _total(costs["failure"])),
        RULE,
        tuple(parts),
        row.computed_at if row else None,
        Ref("wear", ""),
    )


def _terms(costs: dict[str, Any]) -> list[Part]:
    """Terms of the mean, which sum; what it rests on; and what a planned change costs beside it."""
    failure, planned = costs["failure"], costs["planned"]
    lost = Remark(_("{} until the arc was on again"), (seconds(failure["lost_s"]),))
    spread = Remark(
        _("{} to {} on top of the piece"), (money(failure["low"]), money(failure["high"]))
    )
    ahead = Remark(
        _("the piece, and {} with {}"), (money(planned["lost"]), seconds(planned["lost_s"]))
    )
    return [
        Part(_("The piece"), money(costs["price"])),
        Part(_("Unused worth of pieces changed with it"), money(failure["partners"])),
        Part(_("Parts it spoilt"), money(failure["cut"])),
        Part(_("Time lost"), money(failure["lost"]), notes=(lost,)),
        Part(
            _("A failure"), money(costs["price"] + _total(failure)), total=True,
            notes=(_basis(failure), spread),
        ),
        Part(_("A planned change"), money(costs["price"] + _total(planned)),
             notes=(_basis(planned), ahead)),
    ]  # fmt: skip


def _basis(extra: dict[str, Any]) -> str:
    n = extra["n"]
    if extra["source"] == "part":
        return ngettext("mean of {n} of this part", "mean of {n} of this part", n).format(n=n)
    if extra["source"] == "shop":
        return ngettext(
            "too few of this part: mean of {n} of any part",
            "too few of this part: mean of {n} of any part", n,
        ).format(n=n)  # fmt: skip
    return _("too few on record: as typed in the shop’s and tables’ settings, half to twice of it")


def _incidents(happened: list[Happened]) -> list[Part]:
    zone = ZoneInfo(the_shop().zone)
    stays = Fitting.objects.filter(pk__in=[int(one.key) for one in happened])
    rows = {
        row.pk: row for row in stays.select_related("piece").only("piece__label", "piece_id", "pk")
    }
    found = []
    for one in happened:
        row = rows.get(int(one.key))
        if row is None:
            continue
        notes = (
            Remark(_("time lost: {}"), (seconds(one.lost_s),)),
            Remark(_("parts spoilt: {}"), (money(one.cut),)),
            Remark(_("pieces changed with it: {}"), (money(one.partners),)),
        )
        label = f"{dated(from_us(one.at_us).astimezone(zone), DAY)}, {row.piece.label}"
        found.append(Part(label, money(one.total), Ref("piece", str(row.piece_id)), notes))
    return found
