"""A value with its unit, how well it is known and who may see it; and how it is said. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum

from planning.calc.cost import rounded
from planning.calc.numbers import filled, written
from planning.calc.said import to_reader
from planning.calc.translated import gettext
from planning.calc.translated import gettext_noop as N_
from planning.calc.units import M_PER_FT, ft_from_mm
from shopfloor.wording.counts import count_fractional
from shopfloor.wording.money import money_text

UNKNOWN = N_("unknown")
WORDS = (N_("measured"), N_("entered"), N_("planned"), N_("unknown"))


class Right(Enum):
    """Who may see a value. COST: money, for those who have the right `see_cost`."""

    EVERYBODY = ""
    COST = "see_cost"


class Unit(Enum):
    """What a value is counted in. MONEY: minor units of the shop's currency. MONEY_PER_M: the same
    for a metre of cut. LENGTH: mm. TEXT is a word, a sentence (`Said` where it holds lengths)."""

    TEXT = "text"
    MONEY = "money"
    MONEY_PER_M = "money a metre"
    SECONDS = "s"
    HOURS = "h"
    LENGTH = "mm"
    COUNT = ""
    STARTS = "start"
    RATIO = "1"
    PERCENT = "%"


@dataclass(frozen=True, slots=True)
class Coverage:
    """How much of a total rests on what, in `unit` (s, or minor units of money)."""

    measured: float = 0.0
    entered: float = 0.0
    planned: float = 0.0
    unknown: float = 0.0
    unit: str = "s"

    @property
    def total(self) -> float:
        return self.measured + self.entered + self.planned + self.unknown

    def share(self, evidence: str) -> float | None:
        """The share of one evidence word, None where there is nothing to share."""
        return getattr(self, evidence) / self.total if self.total else None


Evidence = str | Coverage  # one of WORDS (or "": not said), or the shares of several


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value; None is unknown. `change`: a difference, said with its sign."""

    value: float | str | None
    unit: Unit
    evidence: Evidence = ""
    right: Right = Right.EVERYBODY
    change: bool = False

    @property
    def number(self) -> float:
        """For sums: nothing where it is unknown or no number."""
        return self.value if isinstance(self.value, int | float) else 0


@dataclass(frozen=True, slots=True)
class Remark:
    """Words around quantities, `{}` for each: hidden from who may not see one of them."""

    pattern: str
    quantities: tuple[Quantity, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """In what units a person reads, and what they may see."""

    inch: bool = False
    currency: str = ""
    digits: int = 2
    rights: frozenset[Right] = frozenset({Right.EVERYBODY})

    def may(self, right: Right) -> bool:
        return right in self.rights


def text(words: str, evidence: Evidence = "") -> Quantity:
    return Quantity(words, Unit.TEXT, evidence)


def money(minor: float | None, evidence: Evidence = "", *, change: bool = False) -> Quantity:
    return Quantity(minor, Unit.MONEY, evidence, Right.COST, change)


def seconds(value: float | None, evidence: Evidence = "", *, change: bool = False) -> Quantity:
    return Quantity(value, Unit.SECONDS, evidence, change=change)


def summed(quantities: Iterable[Quantity], like: Quantity) -> Quantity:
    """Their sum, in unit and right of `like`; its evidence is theirs by what each amounts to."""
    own = list(quantities)
    value = sum(one.number for one in own)
    return replace(like, value=value, evidence=coverage(own) if own else UNKNOWN)


def coverage(quantities: Iterable[Quantity]) -> Evidence:
    """The evidence of a total: amounts by word, summed without their sign."""
    sums = dict.fromkeys(WORDS, 0.0)
    for one in quantities:
        if isinstance(one.evidence, Coverage):
            for word in WORDS:
                sums[word] += getattr(one.evidence, word)
        else:
            sums[one.evidence if one.evidence in sums else UNKNOWN] += abs(one.number)
    return Coverage(sums["measured"], sums["entered"], sums["planned"], sums["unknown"])


def evidence_said(evidence: Evidence) -> str:
    """The word that carries a total, or its shares where it is mixed."""
    if isinstance(evidence, str):
        return gettext(evidence)
    shares = {word: evidence.share(word) or 0.0 for word in WORDS}
    present = [word for word in WORDS if shares[word] >= 0.005]
    if len(present) == 1:
        return gettext(present[0])
    return ", ".join(
        f"{gettext(word)} {written(shares[word] * 100, '.0f')} %" for word in present
    ) or gettext(UNKNOWN)


def say(of: Quantity, reading: Reading) -> str:
    """A quantity as its reader reads it."""
    if of.value is None:
        return gettext(UNKNOWN)
    if isinstance(of.value, str):
        return to_reader(of.value, inch=reading.inch)
    said = _number(of.value, of.unit, reading).replace("-", "−")
    return f"+{said}" if of.change and not said.startswith("−") else said


def remark_said(of: str | Remark, reading: Reading) -> str:
    """A remark as its reader reads it; "" where it is not for them."""
    if isinstance(of, str):
        return to_reader(of, inch=reading.inch)
    if not all(reading.may(one.right) for one in of.quantities):
        return ""
    return gettext(of.pattern).format(*(say(one, reading) for one in of.quantities))


def _number(value: float, unit: Unit, reading: Reading) -> str:
    if unit is Unit.MONEY:
        return f"{money_text(rounded(value), reading.digits)} {reading.currency}"
    if unit is Unit.MONEY_PER_M:
        each = value * M_PER_FT if reading.inch else value
        name = "foot" if reading.inch else "metre"
        return f"{money_text(rounded(each), reading.digits)} {reading.currency} a {name}"
    if unit is Unit.SECONDS:
        return (
            f"{written(value, ',.1f')} s"
            if abs(value) < 60
            else f"{written(value / 60, ',.1f')} min"
        )
    if unit is Unit.LENGTH:
        return (
            f"{written(ft_from_mm(value), ',.1f')} ft"
            if reading.inch
            else f"{written(value / 1000, ',.1f')} m"
        )
    if unit is Unit.STARTS:
        return count_fractional(value, "{n} start", "{n} starts")
    forms = {Unit.HOURS: "{:,.2f} h", Unit.RATIO: "{:.3f}", Unit.PERCENT: "{:.0f} %"}
    return filled(forms.get(unit, "{:,.0f}"), value)
