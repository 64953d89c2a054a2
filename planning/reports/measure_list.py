"""The measures of ISO 22400-2 that are shown: each with its label, what it is made of and how.

A ratio is the sum of its `top` elements over the sum of its `bottom` ones, as
`planning.calc.indicators` computes it (a test holds the two against each other); one that is a
product or needs more than elements says so in `words`."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.indicators import Elements


@dataclass(frozen=True, slots=True)
class Element:
    """A time in hours or a number of pieces, named as in `Elements`."""

    label: str
    how: str = N_("of the runs of these days")
    unit: str = "h"


ELEMENTS = {
    "apt": Element(N_("burning"), N_("arc time of the runs; as entered where a source was silent")),
    "pbt": Element(N_("planned busy time"), N_("shifts so far, without breaks and planned stops")),
    "aubt": Element(N_("in runs"), N_("time from each run's start to its end, stops included")),
    "adet": Element(
        N_("unplanned stops"),
        N_("stops during shifts without a planned reason; overlaps count once"),
    ),
    "aust": Element(
        N_("set changes"),
        N_("stops during shifts whose reason is a set change; overlaps count once"),
    ),
    "pq": Element(N_("all parts"), unit=N_("parts")),
    "gq": Element(N_("good parts"), unit=N_("parts")),
    "sq": Element(N_("scrap"), unit=N_("parts")),
    "rq": Element(N_("rework"), unit=N_("parts")),
    "gp": Element(N_("checks passed"), unit=N_("checks")),
    "ip": Element(N_("checks judged"), unit=N_("checks")),
}


@dataclass(frozen=True, slots=True)
class Measure:
    """`ratios` are the measures it is a product of. `words` say how it is made where it is not
    simply `top` over `bottom`."""

    label: str
    top: tuple[str, ...] = ()
    bottom: tuple[str, ...] = ()
    ratios: tuple[str, ...] = ()
    words: str = ""

    @property
    def how(self) -> str:
        """The formula in words."""
        if self.words:
            return _(self.words)
        if self.ratios:
            return " × ".join(_(MEASURES[name].label).lower() for name in self.ratios)
        return f"{_added(self.top)} / {_added(self.bottom)}"

    @property
    def parts(self) -> tuple[str, ...]:
        """The figures it opens to, each once."""
        return self.ratios or tuple(dict.fromkeys((*self.top, *self.bottom)))

    def base(self, of: Elements) -> tuple[float, float, str] | None:
        """Top, bottom and their unit; None where one is unknown or there are none."""
        if not self.top:
            return None
        top, bottom = _sum(of, self.top), _sum(of, self.bottom)
        if top is None or bottom is None:
            return None
        return top, bottom, ELEMENTS[self.top[0]].unit


MEASURES = {
    "availability": Measure(N_("Availability"), ("apt",), ("pbt",)),
    "allocation_efficiency": Measure(N_("Allocation efficiency"), ("aubt",), ("pbt",)),
    "utilisation_efficiency": Measure(N_("Utilisation efficiency"), ("apt",), ("aubt",)),
    "technical_efficiency": Measure(N_("Technical efficiency"), ("apt",), ("apt", "adet")),
    "setup_rate": Measure(N_("Set-up rate"), ("aust",), ("apt", "aust")),
    "effectiveness": Measure(
        N_("Effectiveness"), words=N_("planned arc time / burning, of the runs that had a plan")
    ),
    "quality": Measure(N_("Quality ratio"), ("gq",), ("pq",)),
    "scrap": Measure(N_("Scrap ratio"), ("sq",), ("pq",)),
    "rework": Measure(N_("Rework ratio"), ("rq",), ("pq",)),
    "first_pass_yield": Measure(N_("First pass yield"), ("gp",), ("ip",)),
    "oee": Measure(
        N_("Overall equipment effectiveness"), ratios=("availability", "effectiveness", "quality")
    ),
}


def _added(names: tuple[str, ...]) -> str:
    said = " + ".join(_(ELEMENTS[name].label) for name in names)
    return f"({said})" if len(names) > 1 else said


def _sum(of: Elements, names: tuple[str, ...]) -> float | None:
    amounts = [getattr(of, name) for name in names]
    return None if None in amounts else sum(amounts)
