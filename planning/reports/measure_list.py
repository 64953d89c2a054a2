"""The measures of ISO 22400-2 that are shown: each with its label, what it is made of and how.

A ratio is the sum of its `top` elements over the sum of its `bottom` ones, as
`planning.calc.indicators` computes it (a test holds the two against each other); one that is a
product or needs more than elements says so in `words`."""

from __future__ import annotations

from dataclasses import dataclass

from planning.calc.indicators import Elements


@dataclass(frozen=True, slots=True)
class Element:
    """A time in hours or a number of pieces, named as in `Elements`."""

    label: str
    how: str = "of the runs of these days"
    unit: str = "h"


ELEMENTS = {
    "apt": Element("burning", "arc time of the runs; as entered where a source was silent"),
    "pbt": Element("planned busy time", "shifts so far, without breaks and planned stops"),
    "aubt": Element("in runs", "time from each run's start to its end, stops included"),
    "adet": Element(
        "unplanned stops", "stops during shifts without a planned reason; overlaps count once"
    ),
    "aust": Element(
        "set changes", "stops during shifts whose reason is a set change; overlaps count once"
    ),
    "pq": Element("all parts", unit="parts"),
    "gq": Element("good parts", unit="parts"),
    "sq": Element("scrap", unit="parts"),
    "rq": Element("rework", unit="parts"),
    "gp": Element("checks passed", unit="checks"),
    "ip": Element("checks judged", unit="checks"),
}  # fmt: skip


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
            return self.words
        if self.ratios:
            return " × ".join(MEASURES[name].label.lower() for name in self.ratios)
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
    "availability": Measure("Availability", ("apt",), ("pbt",)),
    "allocation_efficiency": Measure("Allocation efficiency", ("aubt",), ("pbt",)),
    "utilisation_efficiency": Measure("Utilisation efficiency", ("apt",), ("aubt",)),
    "technical_efficiency": Measure("Technical efficiency", ("apt",), ("apt", "adet")),
    "setup_rate": Measure("Set-up rate", ("aust",), ("apt", "aust")),
    "effectiveness": Measure(
        "Effectiveness", words="planned arc time / burning, of the runs that had a plan"
    ),
    "quality": Measure("Quality ratio", ("gq",), ("pq",)),
    "scrap": Measure("Scrap ratio", ("sq",), ("pq",)),
    "rework": Measure("Rework ratio", ("rq",), ("pq",)),
    "first_pass_yield": Measure("First pass yield", ("gp",), ("ip",)),
    "oee": Measure(
        "Overall equipment effectiveness", ratios=("availability", "effectiveness", "quality")
    ),
}


def _added(names: tuple[str, ...]) -> str:
    said = " + ".join(ELEMENTS[name].label for name in names)
    return f"({said})" if len(names) > 1 else said


def _sum(of: Elements, names: tuple[str, ...]) -> float | None:
    amounts = [getattr(of, name) for name in names]
    return None if None in amounts else sum(amounts)
