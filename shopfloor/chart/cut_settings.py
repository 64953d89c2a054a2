"""The figures of a cut, one row each. What checks, forms, pages, imports, trials, a plan's snapshot
and the setup sheet say of them is made from this table; the columns are in `models.py`, what a
chart file may give in `planning/calc/chart/types.py`."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from planning.calc.chart.types import NEVER_ZERO
from planning.calc.numbers import marked, written
from planning.calc.units import in_from_mm
from shopfloor.wording.lengths import reads_inches
from shopfloor.wording.unknown import unknown

Text = str | Promise


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSetting:
    """`name` is its column and ends in its unit. `most` is the largest value taken, in that unit.

    `kept`: where it is kept: "chart" in a chart row, known to the arithmetic; "shop" in a chart
    row, the shop's own expectation, which no chart file gives; "set" with the set of wear parts.
    `trial`: whether a trial sets it, measures it, or has nothing of it.
    """

    name: str
    label: Text
    unit: str
    most: float = math.inf
    digits: int = 2
    inch_digits: int = 3
    kept: Literal["chart", "shop", "set"] = "chart"
    trial: Literal["set", "measured", ""] = "set"
    needed: bool = False
    measured_label: Text = ""
    column: Text = ""  # short head; neighbours with the same head share a column
    hint: Text = ""
    on_setup_sheet: bool = False
    # Came after setup sheets were printed: one without it still says the same.
    added_later: bool = False

    @property
    def may_be_zero(self) -> bool:
        return self.name not in NEVER_ZERO

    @property
    def head(self) -> Text:
        return self.column or self.label

    def in_inches(self, user: Any) -> bool:
        return self.unit.startswith("mm") and reads_inches(user)

    def unit_for(self, user: Any) -> str:
        return self.unit.replace("mm", "in") if self.in_inches(user) else self.unit

    def value_for(self, value: float, user: Any) -> float:
        return in_from_mm(value) if self.in_inches(user) else value

    def figure(self, value: Any, user: Any = None) -> str:
        """The value without its unit, "?" where it is unknown."""
        if value is None:
            return "?"
        if not isinstance(value, int | float):
            return str(value)
        if self.in_inches(user):
            return written(in_from_mm(value), f".{self.inch_digits}f")
        shown = f"{value:.{self.digits}f}"
        return marked(shown.rstrip("0").rstrip(".") if "." in shown else shown)

    def exact(self, value: Any, user: Any = None) -> str:
        """The value as it is dialled in, without its unit: nothing is rounded off but inches."""
        if value is None:
            return _("unknown")
        if not isinstance(value, int | float):
            return str(value)
        return written(round(in_from_mm(value), 3) if self.in_inches(user) else value, "g")

    def labelled(self, user: Any = None, *, measured: bool = False) -> str:
        """The label with its unit: "kerf, mm"."""
        label = str((measured and self.measured_label) or self.label)
        return f"{label}, {self.unit_for(user)}" if self.unit else label

    def text(self, value: Any, user: Any = None) -> str:
        """The value with its unit."""
        if value is None:
            return unknown()
        return f"{self.figure(value, user)} {self.unit_for(user)}".rstrip()

    def fault(self, value: float | None) -> str:
        """What is wrong with a value; blank: nothing."""
        if value is None:
            return _("It is missing.") if self.needed else ""
        if not value >= 0 or (value == 0 and not self.may_be_zero):
            return _("It must be above zero.")
        if value > self.most:
            return _("It must be at most %(most)s.") % {
                "most": f"{written(self.most, 'g')} {self.unit}"
            }
        return ""


SETTINGS: Final = (
    CutSetting(
        name="current_a", label=gettext_lazy("current"), unit="A", most=1000, digits=1, kept="set",
        needed=True,
    ),
    CutSetting(
        name="speed_mm_min", label=gettext_lazy("cutting speed"), column=gettext_lazy("speed"),
        unit="mm/min", most=1e6, digits=0, inch_digits=0, needed=True, on_setup_sheet=True,
    ),
    CutSetting(
        name="pierce_delay_s", label=gettext_lazy("pierce delay"),
        column=pgettext_lazy("a heading", "pierce"),
        unit="s", most=600, needed=True, on_setup_sheet=True,
    ),
    CutSetting(
        name="touch_off_s", label=gettext_lazy("touch-off a pierce"),
        column=gettext_lazy("touch-off"), unit="s", most=600,
    ),
    CutSetting(
        name="pierce_height_mm", label=gettext_lazy("pierce height"),
        column=gettext_lazy("heights"), unit="mm", most=100, on_setup_sheet=True,
    ),
    CutSetting(
        name="cut_height_mm", label=gettext_lazy("cut height"), column=gettext_lazy("heights"),
        unit="mm", most=100, on_setup_sheet=True,
    ),
    CutSetting(
        name="arc_v", label=gettext_lazy("arc voltage"),
        column=pgettext_lazy("a heading", "arc"), unit="V",
        most=1000, digits=1, on_setup_sheet=True,
    ),
    CutSetting(
        name="kerf_mm", label=gettext_lazy("kerf"), unit="mm", most=100, trial="measured",
        measured_label=gettext_lazy("kerf measured"), on_setup_sheet=True,
    ),
    CutSetting(
        name="gas", label=gettext_lazy("gas"), unit="", kept="set", trial="", on_setup_sheet=True,
    ),
    CutSetting(
        name="max_pierce_mm", label=gettext_lazy("pierces to"), unit="mm", most=1000, trial="",
        hint=gettext_lazy("blank: unknown"),
    ),
    CutSetting(
        name="u_mm", label=gettext_lazy("u expected"), column="u", unit="mm", most=100,
        kept="shop", trial="measured", measured_label=gettext_lazy("u measured"),
        hint=gettext_lazy("blank: unknown"),
    ),
    CutSetting(
        name="bench_min_per_m", label=gettext_lazy("bench time a metre of cut"),
        column=gettext_lazy("bench"), unit="min/m", most=1000, kept="shop", trial="",
    ),
)  # fmt: skip
BY_NAME: Final = {each.name: each for each in SETTINGS}
OF_ROW: Final = tuple(each for each in SETTINGS if each.kept != "set")
OF_CHART: Final = tuple(each for each in OF_ROW if each.kept == "chart")
OF_TRIAL: Final = tuple(each for each in SETTINGS if each.trial)
# What lists of trials have room for: what was needed to cut, and what was measured.
TRIAL_LISTED: Final = tuple(each for each in OF_TRIAL if each.needed or each.trial == "measured")
ON_SETUP_SHEET: Final = tuple(each for each in SETTINGS if each.on_setup_sheet)
ROW_NAMES: Final = tuple(each.name for each in OF_ROW)
CHART_NAMES: Final = tuple(each.name for each in OF_CHART)
SHOP_NAMES: Final = tuple(each.name for each in OF_ROW if each.kept == "shop")
TRIAL_NAMES: Final = tuple(each.name for each in OF_TRIAL)


def faults(figures: Mapping[str, Any], settings: Iterable[CutSetting] = OF_ROW) -> dict[str, str]:
    """What is wrong with figures, by name; one that is not there is judged as missing."""
    found = {each.name: each.fault(figures.get(each.name)) for each in settings}
    return {name: text for name, text in found.items() if text}


def known_faults(
    figures: Mapping[str, Any], settings: Iterable[CutSetting] = OF_ROW
) -> dict[str, str]:
    """The same of figures that are known, for a model whose own columns say what may be null."""
    return faults(figures, [each for each in settings if figures.get(each.name) is not None])


def same_figures(a: Any, b: Any, names: Iterable[str]) -> bool:
    """Whether two rows hold the same figures, to a millionth of them."""
    for name in names:
        one, other = getattr(a, name), getattr(b, name)
        if (one is None) != (other is None):
            return False
        if one is not None and abs(one - other) > 1e-6 * max(1.0, abs(one)):
            return False
    return True


def capitalised(label: str) -> str:
    """The label as it begins a line. A symbol stays as it is: u, not U."""
    return label if len(label.split(" ")[0].rstrip(",")) < 2 else label[:1].upper() + label[1:]


def columns(settings: Iterable[CutSetting]) -> list[list[CutSetting]]:
    """Settings by the column they stand in."""
    return [list(group) for _head, group in itertools.groupby(settings, lambda s: str(s.head))]
