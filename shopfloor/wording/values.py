"""What stands behind the words of each formatter: the value in the reader's unit, and that unit."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from planning.calc.units import ft_from_mm, in_from_mm, lb_from_kg
from shopfloor.wording import clock, counts, lengths
from shopfloor.wording.lengths import reads_inches
from shopfloor.wording.typed import Value

Of = Callable[..., tuple[Value, str] | None]


def _minutes(seconds: float | str) -> tuple[Value, str]:
    return float(seconds) / 60, "min"


def _count(number: object) -> tuple[Value, str] | None:
    return (number, "") if isinstance(number, int) else None


def _moment(moment: datetime, blank: str = "") -> tuple[Value, str]:
    return moment, ""


def _age(moment: datetime) -> tuple[Value, str]:
    """Since when: how long ago that is changes while nothing moves, and the page with it."""
    return moment, ""


def _span(seconds: float) -> tuple[Value, str]:
    """No finer than the words, for the same reason."""
    s = max(0, round(seconds))
    return (s if s < 90 else s // 60 * 60) / 60, "min"


def _off(us: int) -> tuple[Value, str]:
    return us / 1e6, "s"


def _either(metric: float, unit: str, inch: float, inch_unit: str) -> Of:
    """A figure that is `metric` times as much in `unit`, for readers of inches `inch` times."""

    def of(figure: float, user: Any = None) -> tuple[Value, str]:
        if reads_inches(user):
            return figure * inch, inch_unit
        return figure * metric, unit

    return of


IN = in_from_mm(1.0)
_LENGTH = _either(1.0, "mm", IN, "in")
_SPEED = _either(1.0, "mm/min", IN, "in/min")
FILTERS: dict[Callable[..., Any], Of] = {
    counts.grouped: _count,
    clock.minutes: _minutes,
    clock.part_time: _minutes,
    clock.seconds_text: _span,
    clock.when: _moment,
    clock.age: _age,
    clock.clock: _off,
    clock.clock_off: _off,
    lengths.size: _LENGTH,
    lengths.depth: _LENGTH,
    lengths.place: _LENGTH,
    lengths.depth_signed: _LENGTH,
    lengths.thick: _LENGTH,
    lengths.distance: _either(0.001, "m", ft_from_mm(1.0), "ft"),
    lengths.speed: _SPEED,
    lengths.accel: _either(1.0, "mm/s²", IN, "in/s²"),
    lengths.area: _either(1e-6, "m²", IN * IN / 144, "ft²"),
    lengths.weight: _either(1.0, "kg", lb_from_kg(1.0), "lb"),
}
